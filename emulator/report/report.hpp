// A run's folder as one page: verdict and reason first, then limits, what became different,
// drawings, integrity, what was not tested, bench. The page needs no network, no script and no file
// beside it. Escaping  everything that comes from files or from the controller is escaped. Errors
// std::runtime_error: no record, a document that is damaged.
#pragma once

#include <filesystem>
#include <optional>
#include <string>

#include "emulator/compare/comparison.hpp"

namespace stillrotor {

inline constexpr const char* report_name = "report.html";  // in the run's folder

/// What the run is held against, for a section of its own.
struct Against {
  std::string name;  // of the other run or the baseline, as people call it
  Comparison comparison;
  std::optional<std::filesystem::path> run_folder;  // of another run: drawn over this one
};

/// Same folder, same text. A run without a verdict (stopped, or its disk full) is said to be one.
std::string report_html(const std::filesystem::path& run_folder,
                        const std::optional<Against>& = {});

}  // namespace stillrotor
