#include "emulator/panel/run_shelf.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <nlohmann/json.hpp>
#include <stdexcept>

#include "emulator/bench/input_error.hpp"
#include "emulator/panel/recorded_run.hpp"
#include "emulator/panel/run_document.hpp"

namespace stillrotor {
namespace {

namespace fs = std::filesystem;
using Json = nlohmann::json;

bool is_run(const fs::path& folder) {
  std::error_code ignored;
  return fs::is_regular_file(folder / "record.h5", ignored);
}

}  // namespace

RunShelf::RunShelf(const fs::path& folder) {
  if (!fs::is_directory(folder))
    throw InputError(
        fmt::format("{} is no folder. Name the folder of a run, or the one that holds "
                    "several: runs",
                    folder.string()));
  const fs::path whole = fs::canonical(folder);
  if (is_run(whole)) {
    entries_.push_back({whole.filename().string(), whole});
    return;
  }
  for (const auto& entry : fs::directory_iterator(whole))
    if (is_run(entry.path())) entries_.push_back({entry.path().filename().string(), entry.path()});
  if (entries_.empty())
    throw InputError(
        fmt::format("{} holds no run: no record.h5, neither in it nor in a folder "
                    "of it.",
                    folder.string()));
  std::sort(entries_.begin(), entries_.end(),
            [](const Entry& a, const Entry& b) { return a.name > b.name; });
  if (entries_.size() > listed_most) entries_.resize(listed_most);
}

std::shared_ptr<ShownRun> RunShelf::first() {
  std::string why;
  for (const Entry& entry : entries_)
    if (auto run = open(entry.name, why)) return run;
  throw std::runtime_error(why);
}

Json RunShelf::list() const {
  Json list = Json::array();
  for (const Entry& entry : entries_) {
    const Json result = json_document(entry.folder / "result.json");
    const Json run = json_document(entry.folder / "run.json");
    const std::string verdict = text_of(result, "verdict");
    list.push_back({{"name", entry.name},
                    {"verdict", verdict.empty() ? Json() : Json(verdict)},
                    {"bench", text_of(result, "bench")},
                    {"scenario", text_of(result, "scenario")},
                    {"started", text_of(run, "started")}});
  }
  return list;
}

std::shared_ptr<ShownRun> RunShelf::open(const std::string& name, std::string& why) {
  for (const auto& [known, run] : open_)
    if (known == name) return run;
  const auto entry = std::find_if(entries_.begin(), entries_.end(),
                                  [&](const Entry& one) { return one.name == name; });
  if (entry == entries_.end()) {
    why = fmt::format("There is no run of that name; allowed: one of the welcome's runs.");
    return nullptr;
  }
  try {
    open_.emplace_back(name, std::make_shared<RecordedRun>(name, entry->folder));
  } catch (const std::exception& error) {
    why = fmt::format("{} cannot be shown: {}", name, error.what());
    return nullptr;
  }
  auto run = open_.back().second;
  if (open_.size() > open_most) open_.pop_front();
  return run;
}

}  // namespace stillrotor
