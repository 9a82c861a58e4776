// The finished runs of a folder: it is one itself, or holds several.
// Thread  the server's, but for the constructor.
#pragma once

#include <deque>
#include <filesystem>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "emulator/panel/panel.hpp"

namespace stillrotor {

class RunShelf final : public RunChoice {
 public:
  static constexpr std::size_t listed_most = 500, open_most = 8;

  /// Throws InputError: no folder, no run in it.
  explicit RunShelf(const std::filesystem::path& folder);

  /// The latest one that can be read. Throws std::runtime_error: none can.
  std::shared_ptr<ShownRun> first();
  nlohmann::json list() const override;
  std::shared_ptr<ShownRun> open(const std::string& name, std::string& why) override;

 private:
  struct Entry {
    std::string name;
    std::filesystem::path folder;
  };
  std::vector<Entry> entries_;                                          // by name, the latest first
  std::deque<std::pair<std::string, std::shared_ptr<ShownRun>>> open_;  // the latest last
};

}  // namespace stillrotor
