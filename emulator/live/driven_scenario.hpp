// What a person does at a running bench: words become actions of the scenario's language, one after
// the other, and lines of a scenario that says all of it. Run again, that scenario gives the same
// run: in virtual time to the byte, on the wall clock in the same words at the same times.
// Thread  the driver's. Not RT.
#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/live/live_control.hpp"
#include "emulator/scenario/read_action.hpp"
#include "emulator/scenario/scenario.hpp"

namespace stillrotor {

/// Its name in the run's folder.
inline constexpr std::string_view driven_scenario_name = "driven-scenario.yaml";

/// "throttle", "2.6 V", as in a line of the timeline, without its time.
struct DrivenWord {
  std::string key, text;
};

class DrivenScenario {
 public:
  /// All three outlive this; the run runs the scenario, which is one that was read, under the
  /// control.
  DrivenScenario(const Bench&, const Scenario&, LiveControl&);

  /// To be done as soon as it can be. Returns its number; what became of it comes by settled().
  std::uint64_t act(std::vector<DrivenWord> words);

  struct Settled {
    std::uint64_t number = 0;  // as act() returned it
    bool done = false;         // or will be, at that time, whatever happens
    double at_s = 0.0;         // of the run
    std::string line;          // of the scenario: "{at: 12.5 s, throttle: 2.6 V, over: 300 ms}"
    std::string why;           // refused: what is wrong, what is allowed, the remedy
  };
  /// What has been settled since the last call, in order. To be called often, some ten times a
  /// second: what waits behind an action goes its way here.
  std::vector<Settled> settled();

  /// The scenario to be saved: the resolved one, what has been driven so far, and, once the run has
  /// been stopped, its earlier end. Comments at its top say what that end leaves out.
  std::string yaml() const;

  /// As driven last: "throttle" -> "2.6 V"; a body's temperature by "temperature winding".
  const std::map<std::string, std::string>& set() const noexcept { return set_; }
  /// How many actions have been driven.
  std::size_t size() const noexcept { return driven_.size(); }

 private:
  struct Waiting {
    std::uint64_t number;
    std::vector<DrivenWord> words;
  };

  void go_on();
  void offer(std::int64_t at_ps);
  void take_down();
  void refuse(std::string why);
  ReadAction compiled(const std::vector<DrivenWord>& words, std::int64_t at_ps) const;
  bool overtakes(const Action&) const;
  void check_with_the_others(const ReadAction&) const;

  const Bench& bench_;
  const Scenario& scenario_;
  LiveControl& control_;
  std::vector<ReadAction> own_, driven_;
  std::optional<ReadAction> offered_;  // of the front of waiting_
  std::deque<Waiting> waiting_;
  std::vector<Settled> settled_;
  std::map<std::string, std::string> set_;
  std::uint64_t asked_ = 0;
};

}  // namespace stillrotor
