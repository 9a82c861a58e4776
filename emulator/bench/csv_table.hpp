// Measured tables: comma-separated numbers under a line that names each column with its unit,
//   i_d [A], i_q [A], psi_d [mWb], psi_q [mWb]
// Columns in any order, others are left out; "#" begins a comment. RFC 4180 without quotes.
// Bounded: 4 MiB, 200,000 rows.
#pragma once

#include <filesystem>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/problems.hpp"
#include "emulator/bench/units.hpp"

namespace stillrotor {

struct CsvColumn {
  std::string_view name;
  std::vector<Family> families;  // it may be in one of them
};

struct CsvTable {
  std::vector<std::vector<double>> columns;  // SI, in the order asked for
  std::vector<Family> families;              // of each column, as its unit said
  std::vector<int> lines;                    // of each row
  Place at(std::size_t row) const;
  std::shared_ptr<const std::string> file;
};

/// Every asked column must be there. asked_at names the line that asked for the file. Nothing when
/// something is wrong with it; problems say what.
std::optional<CsvTable> read_csv(const std::filesystem::path&, const Place& asked_at,
                                 std::span<const CsvColumn>, Problems&);

}  // namespace stillrotor
