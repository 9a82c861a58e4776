// stillrotor report: a run's folder as one page.
#include <fmt/core.h>

#include <filesystem>
#include <memory>
#include <optional>
#include <string>
#include <system_error>

#include "emulator/bench/input_error.hpp"
#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/report/report.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

struct Request {
  fs::path run, out, against;
};

/// Throws std::runtime_error: not comparable, no run, no baseline.
std::optional<Against> held_against(const Request& request) {
  if (request.against.empty()) return {};
  const RunDigest run = digest_of(request.run);
  Against out;
  out.name = request.against.filename().empty() ? request.against.parent_path().filename()
                                                : request.against.filename();
  const auto comparable = [&](const std::string& why) {
    if (!why.empty())
      throw InputError(
          fmt::format("--against {}: not comparable: {}.", request.against.string(), why));
  };
  if (fs::is_directory(request.against)) {
    const RunDigest other = digest_of(request.against);
    comparable(not_comparable(other, run));
    out.comparison = compare(other, run);
    out.run_folder = request.against;
  } else {
    const Baseline baseline = read_baseline(request.against);
    comparable(not_comparable(baseline, run));
    out.comparison = compare(baseline, run);
  }
  return out;
}

int write_page(const Request& request) {
  std::string page;
  try {
    if (!fs::is_directory(request.run))
      throw InputError(fmt::format("{} is no folder. Name the folder of a run: runs/<...>.",
                                   request.run.string()));
    page = report_html(request.run, held_against(request));
  } catch (const std::exception& error) {
    report(error);
    return exit_request_wrong;
  }
  try {
    const fs::path file = request.out.empty() ? request.run / report_name : request.out;
    write_file(file, page);
    fmt::print("{}\n", file.string());
    return 0;
  } catch (const std::exception& error) {
    return report(error);
  }
}

}  // namespace

void add_report(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command = program.add("report", "A run as one page to read, print and send");
  command.option("RUN", request->run, "a run's folder").required();
  command.option("--out", request->out, "file to write (default: report.html in that folder)");
  command.option("--against", request->against,
                 "another run's folder, or a baseline: what became different has a section");
  command.footer(R"(Examples:
  stillrotor report runs/<folder>
  stillrotor report runs/after --against runs/before
  stillrotor report runs/<folder> --out broken-hall.html

`run` writes it by itself; this is for runs that were stopped, and after an update. The page needs no
network. Exit status: 0; 2 not a run's folder, or nothing to hold it against; 4 the disk refused.)");
  command.does([request, &status] { status = write_page(*request); });
}

}  // namespace stillrotor
