// One channel's way to its two pads: polarity, dead time, the states of rest.
//
// With both outputs enabled, each is switched on a dead time after the other has been switched off;
// a pulse shorter than that does not come out. With one enabled there is no dead time, and the
// second output is not inverted. Without MOE both are released, or (OSSI) switched off at once and
// a dead time later put to their idle levels, unless these would switch both on.
//
// Source RM0090, output control bits for complementary OCx and OCxN channels with break feature;
//        complementary outputs and dead-time insertion.  Not: the few clocks between OCREF and pad.
// RT     safe.
#pragma once

#include <algorithm>

#include "io/mcu/cortexm/scheduler.hpp"

namespace stillrotor::io::cortexm {

enum class Pad : std::uint8_t { released, low, high };

struct OutputSettings {
  bool enabled = false, enabled_n = false;           // CCxE, CCxNE
  bool inverted = false, inverted_n = false;         // CCxP, CCxNP
  bool idle = false, idle_n = false;                 // OISx, OISxN
  bool main = true;                                  // MOE; true for timers without it
  bool off_when_run = false, off_when_idle = false;  // OSSR, OSSI
  Cycle dead_time = 0;
};

class OutputStage {
 public:
  /// At any change of settings, then follow(); in the order of time.
  void configure(const OutputSettings& s, Cycle at) noexcept {
    const bool stopped = settings_.main && !s.main;
    settings_ = s;
    idle_at_ = s.main ? never : stopped ? at + s.dead_time : idle_at_;
  }
  const OutputSettings& settings() const noexcept { return settings_; }
  /// At any change of settings or of OCREF, in the order of time.
  void follow(bool reference, Cycle at) noexcept {
    const OutputSettings& s = settings_;
    const bool both = s.main && s.enabled && s.enabled_n;
    main_.want(s.main && reference, at, both ? s.dead_time : 0);
    complement_.want(s.main && (both ? !reference : reference), at, both ? s.dead_time : 0);
    settle(at);
  }
  /// When it will next change by itself.
  Cycle next() const noexcept { return std::min({main_.on_at, complement_.on_at, idle_at_}); }
  /// To that moment.
  void settle(Cycle at) noexcept {
    main_.settle(at);
    complement_.settle(at);
    if (idle_at_ <= at) {
      rests_ = true;
      idle_at_ = never;
    } else if (settings_.main || idle_at_ != never) {
      rests_ = false;
    }
  }

  Pad pad() const noexcept {
    const OutputSettings& s = settings_;
    if (!s.main) return at_rest(s.enabled || s.enabled_n, s.idle, s.inverted);
    if (s.enabled) return level(main_.on != s.inverted);
    return s.enabled_n && s.off_when_run ? level(s.inverted) : Pad::released;
  }
  Pad pad_n() const noexcept {
    const OutputSettings& s = settings_;
    if (!s.main) return at_rest(s.enabled || s.enabled_n, s.idle_n, s.inverted_n);
    if (s.enabled_n) return level(complement_.on != s.inverted_n);
    return s.enabled && s.off_when_run ? level(s.inverted_n) : Pad::released;
  }

 private:
  struct Half {
    bool on = false;
    Cycle on_at = never;
    void want(bool wanted, Cycle at, Cycle delay) noexcept {
      if (!wanted) {
        on = false;
        on_at = never;
      } else if (!on && on_at == never) {
        on_at = at + delay;
      }
    }
    void settle(Cycle at) noexcept {
      if (on_at > at) return;
      on = true;
      on_at = never;
    }
  };
  static Pad level(bool high) noexcept { return high ? Pad::high : Pad::low; }
  Pad at_rest(bool any, bool idle, bool inverted) const noexcept {
    if (!any || !settings_.off_when_idle) return Pad::released;
    const bool both_on =
        settings_.idle != settings_.inverted && settings_.idle_n != settings_.inverted_n;
    return level(rests_ && !both_on ? idle : inverted);
  }

  OutputSettings settings_;
  Half main_, complement_;
  Cycle idle_at_ = never;
  bool rests_ = false;
};

}  // namespace stillrotor::io::cortexm
