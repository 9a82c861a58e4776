// The plant with a look ahead that can be taken back: its state is restored, and the sampler, which
// watches every step, takes back what it saw. Each moment counts exactly once.
// Time  ps since the start of the run.
// RT: no allocation, lock, log or throw of its own; the sampler's sink decides.
#pragma once

#include <cstdint>

#include "emulator/handover/sampler.hpp"
#include "plant/drive.hpp"

namespace stillrotor {

class Foresight {
 public:
  Foresight(plant::Drive& drive, Sampler& sampler) : drive_(drive), sampler_(sampler) {}

  /// The committed present.
  std::int64_t now_ps() const noexcept { return ahead_ ? origin_.time_ps : drive_.state().time_ps; }

  /// Commits. Not while a look ahead is open.
  plant::Drive::Stop advance(std::int64_t until_ps) noexcept {
    return drive_.advance(until_ps, &sampler_);
  }

  /// Commits by whole steps of the plant, no farther than until_ps.
  plant::Drive::Stop follow(std::int64_t until_ps) noexcept {
    return drive_.follow(until_ps, &sampler_);
  }

  /// Opens a look ahead: to until_ps or to the first sensor edge. Returns where it ends.
  std::int64_t look(std::int64_t until_ps) noexcept {
    origin_ = drive_.state();
    sampler_.hold();
    stop_ = drive_.advance(until_ps, &sampler_);
    ahead_ = true;
    return end_ps();
  }
  bool ahead() const noexcept { return ahead_; }
  std::int64_t end_ps() const noexcept { return drive_.state().time_ps; }
  bool ends_on_an_edge() const noexcept { return stop_.edge; }

  /// Makes the look ahead the present.
  plant::Drive::Stop keep() noexcept {
    ahead_ = false;
    sampler_.keep();
    return stop_;
  }

  /// Back to where it was opened.
  void forget() noexcept {
    ahead_ = false;
    sampler_.forget();
    drive_.restore(origin_);
  }

 private:
  plant::Drive& drive_;
  Sampler& sampler_;
  plant::DriveState origin_;
  plant::Drive::Stop stop_;
  bool ahead_ = false;
};

}  // namespace stillrotor
