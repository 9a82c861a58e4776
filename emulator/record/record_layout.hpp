// How a record lies in record.h5: names, types and sizes that writer and reader share.
//
//   /              attributes format, bench, scenario, clock, rate_Hz, pole_pairs, finished
//                  and recorded_machine.hpp's: what the losses are, and of machines that have
//                  them their constants
//   /signals/<name>            float32, value k at (k + 1) / rate_Hz; attributes unit, rate_Hz,
//   text
//   /signals_least/<name>, /signals_greatest/<name>   float32, over the bin that ends there
//   /overview/64, /4096        float32 [bin][signal][2]: least and greatest of so many points, the
//                              signals in the order of attribute `signals`; no spread: of the
//                              points
//   /edges/<line>              {t_ps int64, level uint8}; attribute initially_high
//   /marks                     {kind enum, t_ps, to_ps int64, name, detail fixed UTF-8}
//   /covered_ps                int64: everything up to here is in the file
// All little-endian; chunked; signals by shuffle and deflate where compression is asked for.
// Not kept  points that were not kept or lost are not a number and take no room; a mark of kind gap
//           says from when to when, and why. Each line's last edge in it is there all the same.
//
// Format  goes up by one with any change of this, a signal or a line added included: a reader asks
//         for all that its own format has, and one that misses something would take the record for
//         damaged. There is no reading of other formats.
#pragma once

#include <bit>
#include <cstdint>
#include <iterator>

#include "emulator/handover/frame.hpp"
#include "emulator/record/hdf5.hpp"

namespace stillrotor::layout {

static_assert(std::endian::native == std::endian::little, "the record is written as it lies here");

inline constexpr int format = 5;
inline constexpr const char* file_name = "record.h5";

inline constexpr hsize_t frame_chunk = 16384;
inline constexpr hsize_t gate_chunk = 16384;
inline constexpr hsize_t line_chunk = 2048;
inline constexpr hsize_t mark_chunk = 64;

/// Points a bin of the overview's levels, finest first; each a whole share of frame_chunk.
inline constexpr std::size_t overview_points[] = {64, 4096};
inline constexpr std::size_t overview_levels = std::size(overview_points);
inline constexpr hsize_t overview_chunk = 256;  // bins

/// 9 bytes: no padding, so that a chunk in memory is a chunk in the file.
struct __attribute__((packed)) EdgeEntry {
  std::int64_t t_ps;
  std::uint8_t level;
};
static_assert(sizeof(EdgeEntry) == 9);

struct MarkEntry {
  std::int64_t t_ps, to_ps;
  std::uint8_t kind;
  char name[103];
  char detail[208];
};
/// Longer texts are cut, the cut marked with an ellipsis.
inline constexpr std::size_t mark_name_max = 100, mark_detail_max = 200;

Hdf5Handle edge_type();
Hdf5Handle mark_type();
/// A fixed-length UTF-8 string type of at least one byte.
Hdf5Handle text_type(std::size_t size);

}  // namespace stillrotor::layout
