// A run's folder as one page: verdict and reason first, then limits, drawings, integrity, what was
// not tested, bench. The page needs no network, no script and no file beside it. Escaping
// everything that comes from files or from the controller is escaped. Errors    std::runtime_error:
// no record, a document that is damaged.
#pragma once

#include <filesystem>
#include <string>

namespace stillrotor {

inline constexpr const char* report_name = "report.html";  // in the run's folder

/// Same folder, same text. A run without a verdict (stopped, or its disk full) is said to be one.
std::string report_html(const std::filesystem::path& run_folder);

}  // namespace stillrotor
