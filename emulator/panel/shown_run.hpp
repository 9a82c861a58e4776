// A run as a panel shows it: one that goes on, or the record of a finished one.
#pragma once

#include <cstdint>
#include <deque>
#include <nlohmann/json_fwd.hpp>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/panel/panel_store.hpp"
#include "emulator/panel/view_source.hpp"

namespace stillrotor {

/// Used by the server's thread.
class ShownRun {
 public:
  virtual ~ShownRun() = default;
  virtual const ViewSource& source() const = 0;
  /// Lines that there are, by io::LineId.
  virtual const std::vector<std::uint16_t>& lines() const = 0;
  /// What a welcome says of it (docs/panel-messages.md), but for client, runs and marks.
  virtual nlohmann::json welcome() const = 0;
  /// What a state says of it, but for who drives and looks; `moving` gets what changes all the
  /// time.
  virtual nlohmann::json state(nlohmann::json& moving) const = 0;
  /// The first one has number marks_gone().
  virtual const std::deque<PanelMark>& marks() const = 0;
  virtual std::uint64_t marks_gone() const = 0;
  /// "report.html", "scenario.yaml"; absent: there is none (yet).
  virtual std::optional<std::string> document(std::string_view name) const = 0;
};

}  // namespace stillrotor
