// A run that goes on, as a panel shows and drives it.
// Threads  Status: any. The rest: the server's.
#pragma once

#include <chrono>
#include <cstdint>
#include <map>
#include <memory>
#include <mutex>
#include <nlohmann/json.hpp>
#include <optional>
#include <string>
#include <vector>

#include "emulator/live/driven_scenario.hpp"
#include "emulator/live/live_control.hpp"
#include "emulator/panel/panel.hpp"
#include "emulator/panel/panel_store.hpp"
#include "emulator/panel/panel_tap.hpp"
#include "emulator/panel/welcome.hpp"

namespace stillrotor {

struct PanelLateness {
  double p50_us = 0.0, p99_us = 0.0, p999_us = 0.0, most_us = 0.0;
};

/// What the run's side says of it.
struct RunNews {
  std::optional<PanelLateness> lateness;  // of the cycle
  std::uint64_t deadline_misses = 0, lost_edges = 0, late_writes = 0;
  std::optional<std::string> verdict;
  std::string reason, problem;
  std::string report_html;  // empty: not yet
  std::string saved;        // the driven scenario's file; empty: nothing was driven
};

class LiveRun final : public ShownRun, public DrivenRun {
 public:
  struct Parts {
    PanelTap& tap;
    LiveControl& control;
    DrivenScenario& driven;
  };
  LiveRun(Parts, PanelStore, std::vector<std::uint16_t> lines, nlohmann::json welcome);

  /// Any thread: change what is known.
  template <class Change>
  void tell(const Change& change) {
    const std::lock_guard lock(mutex_);
    change(news_);
  }

  /// Any thread, once the run has ended: the scenario of what was driven; empty: nothing was.
  std::string driven_yaml();

  /// Takes in what has come; `also` sees all of it, too. True: the run is so quick that the next
  /// should not be late.
  bool take_in(RunSink& also, std::chrono::steady_clock::time_point now);

  // ShownRun
  const ViewSource& source() const override { return store_; }
  const std::vector<std::uint16_t>& lines() const override { return lines_; }
  nlohmann::json welcome() const override;
  nlohmann::json state(nlohmann::json& moving) const override;
  const std::deque<PanelMark>& marks() const override { return store_.marks(); }
  std::uint64_t marks_gone() const override { return store_.marks_gone(); }
  std::optional<std::string> document(std::string_view name) const override;

  // DrivenRun
  std::string run(RunRequest) override;
  std::uint64_t act(const ActRequest&) override;
  std::vector<Settled> settled() override;

 private:
  struct Both;

  double now_s() const noexcept { return static_cast<double>(parts_.control.now_ps()) * 1e-12; }
  void collect_settled();
  void note_mark(MarkKind, std::string_view name, std::string_view detail);

  Parts parts_;
  PanelStore store_;
  std::vector<std::uint16_t> lines_;
  nlohmann::json welcome_;
  std::int64_t step_ps_;
  std::vector<std::string> faults_;         // present ones, "hall_line_open U", as they came
  std::map<std::string, std::string> set_;  // "throttle" -> "2.6 V"
  std::chrono::steady_clock::time_point measured_{};
  double measured_s_ = 0.0, speed_factor_ = 0.0;

  mutable std::mutex driven_mutex_;  // what was driven: read by the run's side once it has ended
  std::vector<Settled> settled_;
  mutable std::mutex mutex_;
  RunNews news_;
};

}  // namespace stillrotor
