// Mirror and far plant joined: what one turn of the cycle does with a co-processor.
// Time  ps since arming. RT: everything but the constructor is safe.
#pragma once

#include <algorithm>
#include <cstdint>

#include "emulator/cycle/gap_notes.hpp"
#include "emulator/partition/mirror.hpp"
#include "io/link/far_plant.hpp"

namespace stillrotor {

class FarPlantMirror {
 public:
  FarPlantMirror(const Bench& bench, const io::LinkConfig& link, io::FarPlant& far,
                 BenchWorld& world);

  void arm(std::int64_t armed_ns) noexcept {
    armed_ns_ = armed_ns;
    mirror_.arm(armed_ns);
  }
  /// Reports that have come in.
  void read() noexcept {
    for (io::LinkReport report; far_.next_report(report);) mirror_.take(report);
  }
  /// Where the world must stop on its way there: a correction is due.
  std::int64_t stop_ps(std::int64_t until_ps) const noexcept {
    return std::min(until_ps, mirror_.due_ps());
  }
  /// The world stands at now_ps.
  void follow(std::int64_t now_ps, GapNotes& gaps) noexcept {
    while (mirror_.due_ps() <= now_ps) {
      const Mirror::Correction done = mirror_.correct();
      if (done.distrust != nullptr) gaps.note(done.from_ps, done.to_ps, done.distrust, "");
    }
  }
  /// clock_ps: how late it is at the wires.
  void lead(std::int64_t clock_ps) noexcept {
    far_.ahead(mirror_.predict(armed_ns_ + clock_ps / 1000 + lead_ns_));
  }

  const MirrorReport& report() const noexcept { return mirror_.report(); }
  const io::LinkStatus& link_status() const noexcept { return far_.link_status(); }

 private:
  io::FarPlant& far_;
  Mirror mirror_;
  std::int64_t lead_ns_, armed_ns_ = 0;
};

}  // namespace stillrotor
