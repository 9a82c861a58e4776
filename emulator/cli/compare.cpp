// stillrotor compare, stillrotor baseline: what became different between runs.
#include <fmt/core.h>

#include <filesystem>
#include <memory>
#include <set>
#include <string>
#include <vector>

#include "emulator/cli/commands.hpp"
#include "emulator/cli/options.hpp"
#include "emulator/cli/program.hpp"
#include "emulator/cli/run_folder.hpp"
#include "emulator/compare/comparison.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;

constexpr int exit_same = 0, exit_differs = 1, exit_not_comparable = 3;

struct Request {
  std::vector<fs::path> runs, repeats;
  fs::path baseline, out;
};

int wrong(const std::string& sentence) {
  fmt::print(stderr, "{}\n", sentence);
  return exit_request_wrong;
}

int not_to_be_compared(const std::string& why) {
  fmt::print("Not comparable: {}.\n", why);
  return exit_not_comparable;
}

int say(const Comparison& comparison) {
  fmt::print("{}", comparison_text(comparison));
  return comparison.same() ? exit_same : exit_differs;
}

std::vector<RunDigest> digests(const std::vector<fs::path>& folders) {
  std::vector<RunDigest> runs;
  for (const fs::path& folder : folders) runs.push_back(digest_of(folder));
  return runs;
}

int compare_runs(const Request& request) {
  const std::size_t needed = request.baseline.empty() ? 2 : 1;
  if (request.runs.size() != needed)
    return wrong(
        fmt::format("compare takes {}. Name {}.",
                    needed == 2 ? "two runs, or one and --baseline" : "one run beside --baseline",
                    needed == 2 ? "RUN_A and RUN_B" : "one RUN"));
  if (!request.baseline.empty() && !request.repeats.empty())
    return wrong("--baseline holds its bands already. Leave --repeats out.");
  try {
    const std::vector<RunDigest> runs = digests(request.runs);
    if (!request.baseline.empty()) {
      const Baseline baseline = read_baseline(request.baseline);
      const std::string why = not_comparable(baseline, runs[0]);
      return why.empty() ? say(compare(baseline, runs[0])) : not_to_be_compared(why);
    }
    if (const std::string why = not_comparable(runs[0], runs[1]); !why.empty())
      return not_to_be_compared(why);
    if (request.repeats.empty()) return say(compare(runs[0], runs[1]));
    std::vector<RunDigest> alike = digests(request.repeats);
    const auto same_folder = [&](const RunDigest& one) {
      return fs::weakly_canonical(one.folder) == fs::weakly_canonical(runs[0].folder);
    };
    if (std::none_of(alike.begin(), alike.end(), same_folder)) alike.push_back(runs[0]);
    return say(compare(runs[0], runs[1], baseline_of(alike)));
  } catch (const std::exception& error) {
    return wrong(error.what());
  }
}

int accept(const Request& request) {
  Baseline baseline;
  try {
    baseline = baseline_of(digests(request.runs));
  } catch (const std::exception& error) {
    return wrong(error.what());
  }
  try {
    write_file(request.out, baseline_text(baseline));
  } catch (const std::exception& error) {
    return report(error);
  }
  std::size_t limits = 0, without_band = 0;
  for (const auto& [key, band] : baseline.measures) {
    limits += band.verdict.empty() ? 0 : 1;
    without_band += band.seen == 0 || band.seen == baseline.runs ? 0 : 1;
  }
  fmt::print(
      "{}: {} runs of \"{}\" on \"{}\", {} seeds, verdict {}; {} limits, {} measures of the whole "
      "run, {} events.\n",
      request.out.string(), baseline.runs, baseline.scenario, baseline.bench,
      std::set<std::uint64_t>(baseline.seeds.begin(), baseline.seeds.end()).size(),
      baseline.verdict == "*" ? "differs" : baseline.verdict, limits,
      baseline.measures.size() - limits, baseline.events.size());
  if (without_band > 0)
    fmt::print("{} measures have no band: some of the runs could not measure them.\n",
               without_band);
  if (baseline.firmware_sha256.size() > 1)
    fmt::print("The runs are of {} firmware files: their differences are in the bands.\n",
               baseline.firmware_sha256.size());
  return 0;
}

}  // namespace

void add_compare(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command = program.add("compare", "What became different between two runs");
  command.option("RUN", request->runs, "RUN_A and RUN_B, folders of runs; or one and --baseline")
      .required()
      .expects(1, 2);
  command.option(
      "--repeats", request->repeats,
      "runs like RUN_A with other seeds, two or more: how far they differ by themselves");
  command.option("--baseline", request->baseline, "a file that `baseline accept` wrote");
  command.footer(R"(Examples:
  stillrotor compare runs/before runs/after
  stillrotor compare runs/before runs/after --repeats runs/seed-2 runs/seed-3 runs/seed-4
  stillrotor compare runs/after --baseline baselines/first-drive.json

Verdicts first, then faults and protection, measures by how many bands they moved, events, signals.
Without repeats or baseline runs are compared exactly. Exit status: 0 the same, 1 different,
3 not comparable (other bench, scenario or clock), 2 no such run or baseline.)");
  command.does([request, &status] { status = compare_runs(*request); });
}

void add_baseline(Command& program, int& status) {
  const auto request = std::make_shared<Request>();
  Command command = program.add("baseline", "What runs of a bench are held against later");
  command.needs_command();
  Command accepting = command.add("accept", "Take runs as they are for right");
  accepting.option("RUN", request->runs, "folders of runs, three or more, best with other seeds")
      .required();
  accepting.option("--out", request->out, "file to write, for version control").required();
  command.footer(R"(Examples:
  stillrotor baseline accept runs/seed-1 runs/seed-2 runs/seed-3 --out baselines/first-drive.json

The file holds the mean and the band of every measure and of every event's time, and the verdicts.
INVALID and unfinished runs are refused. Exit status: 0; 2 refused; 4 the disk refused.)");
  accepting.does([request, &status] { status = accept(*request); });
}

}  // namespace stillrotor
