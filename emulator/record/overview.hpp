// What a chunk of frames looks like from afar: least and greatest of so many points at a time.
// Not a number where a stretch holds no value.
#pragma once

#include <cstddef>
#include <vector>

#include "emulator/record/frame_columns.hpp"

namespace stillrotor {

struct OverviewBin {
  float least = 0.0F, greatest = 0.0F;
};
/// Row after row, each with every signal of the table; a signal with spread by that.
using OverviewRows = std::vector<OverviewBin>;

/// Bins of `points` each (a multiple of 8), the last one as long as what there is.
OverviewRows overview_rows(const FrameColumns&, std::size_t points);
/// From rows as above, `rows` of them to a new one.
OverviewRows coarser_rows(const OverviewRows&, std::size_t rows);

}  // namespace stillrotor
