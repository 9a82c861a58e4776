// Looks at every raw sample, edge and mark of a run for what a page waits for, and holds what it
// has caught. What came before it was armed is not looked at.
// Level  a crossing between two samples that follow each other, its time on the straight line
//        between them.
#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <utility>

#include "emulator/handover/frame.hpp"

namespace stillrotor {

struct TriggerSpec {
  enum class On : std::uint8_t { off, level, edge, fault, event, action };
  enum class Slope : std::uint8_t { either, rising, falling };
  On on = On::off;
  Signal signal = Signal::current_U;  // level
  double level = 0.0;                 // SI
  Slope slope = Slope::either;
  std::uint16_t line = 0;  // edge
  std::string name;        // of a mark; empty: any
  double before = 0.25;    // share of the span in front of the trigger
  bool single = true;      // else the next one behind what is shown replaces it
};

class Trigger {
 public:
  struct Caught {
    double t_s = 0.0;
    std::string what;
  };

  /// Forgets what was caught. rate_Hz: of the grid, whose missing points a level does not cross.
  void arm(TriggerSpec, double rate_Hz);
  /// Of the view that shows it.
  void show_span(double span_s) noexcept { span_s_ = span_s; }

  void frame(const Frame&);
  void edge(const LineEdge&);
  void mark(MarkKind, std::int64_t at_ps, std::string_view name);

  /// Everything up to here has been looked at: is the window behind a trigger whole?
  void seen_until(double now_s);

  bool armed() const noexcept { return spec_.on != TriggerSpec::On::off; }
  const TriggerSpec& spec() const noexcept { return spec_; }
  /// What is to be shown; nullptr: nothing yet.
  const Caught* shown() const noexcept { return shown_ ? &*shown_ : nullptr; }
  /// Is there more to come of what is shown?
  bool whole() const noexcept { return shown_ && !filling_; }
  /// Once for each that is shown.
  bool take_news() noexcept { return std::exchange(news_, false); }

 private:
  bool looking(double t_s) const noexcept;
  void found(double t_s, std::string what);

  TriggerSpec spec_;
  double rate_Hz_ = 1.0, span_s_ = 0.0;
  std::optional<float> previous_;
  double previous_s_ = 0.0;
  std::optional<Caught> shown_, next_;
  bool filling_ = false, news_ = false;
};

}  // namespace stillrotor
