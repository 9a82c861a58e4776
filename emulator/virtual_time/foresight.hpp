// The plant with a look ahead that can be taken back: its state is restored, and the sampler, which
// watches every step, takes back what it saw. Each moment counts exactly once.
// Time  ps since the start of the run.
// RT: no allocation, lock, log or throw of its own; the sampler's sink decides.
#pragma once

#include <algorithm>
#include <cmath>
#include <cstdint>
#include <optional>
#include <span>

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
    foreseen_ = false;
    return drive_.advance(until_ps, &sampler_);
  }

  /// Commits, through these changes of gates and on to until_ps. Not while a look ahead is open.
  plant::Drive::Played play(std::span<const plant::GateChange> changes,
                            std::int64_t until_ps) noexcept {
    foreseen_ = false;
    return drive_.play(changes, until_ps, &sampler_);
  }

  /// Commits by whole steps of the plant, no farther than until_ps.
  plant::Drive::Stop follow(std::int64_t until_ps) noexcept {
    foreseen_ = false;
    return drive_.follow(until_ps, &sampler_);
  }

  /// The first moment from from_ps (not before the present) to until_ps at which changed() holds of
  /// the drive, to 1 ps; nullopt: at none. Nothing moves: whatever was open or stood, stands again.
  /// changed() is asked at both ends of each of the plant's own steps, so at every jump, and the
  /// moment is then found between two answers that differ. One question after the other goes on
  /// where the last one ended, until something is committed.
  template <class Changed>
  std::optional<std::int64_t> first(std::int64_t from_ps, std::int64_t until_ps,
                                    const Changed& changed) noexcept {
    const plant::DriveState stood = drive_.state();
    if (foreseen_ && future_.time_ps <= from_ps)
      drive_.restore(future_);
    else if (ahead_)
      drive_.restore(origin_);
    go(from_ps);
    const auto found = changed() ? std::optional(from_ps) : find(from_ps, until_ps, changed);
    future_ = drive_.state();
    foreseen_ = true;
    drive_.restore(stood);
    return found;
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
    foreseen_ = false;
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
  /// A few of the plant's steps: how far it is driven to see where the first one ends.
  static constexpr std::int64_t some_steps_ps = 50'000'000;

  /// Where the first step from here ends.
  struct FirstStep final : plant::SegmentObserver {
    std::int64_t end_ps = INT64_MAX;
    void on_segment(const plant::Segment& step) noexcept override {
      const double ps = std::ceil(step.end->offset_s * 1e12);
      end_ps = std::min(end_ps, step.end->time_ps + static_cast<std::int64_t>(ps));
    }
  };

  /// Through all edges on the way.
  void go(std::int64_t to_ps, plant::SegmentObserver* observer = nullptr) noexcept {
    while (drive_.advance(to_ps, observer).edge) {
    }
  }

  template <class Changed>
  std::optional<std::int64_t> find(std::int64_t from_ps, std::int64_t until_ps,
                                   const Changed& changed) noexcept {
    while (from_ps < until_ps) {
      const plant::DriveState begin = drive_.state();
      const auto changed_at = [&](std::int64_t at_ps) {
        drive_.restore(begin);
        go(at_ps);
        return changed();
      };
      FirstStep step;
      const std::int64_t seen_ps = std::min(until_ps, from_ps + some_steps_ps);
      go(seen_ps, &step);
      const std::int64_t end_ps = std::clamp(step.end_ps, from_ps + 1, seen_ps);
      for (std::int64_t late_ps : {end_ps - 1, end_ps}) {
        if (late_ps <= from_ps || !changed_at(late_ps)) continue;
        while (late_ps - from_ps > 1) {
          const std::int64_t middle_ps = from_ps + (late_ps - from_ps) / 2;
          (changed_at(middle_ps) ? late_ps : from_ps) = middle_ps;
        }
        drive_.restore(begin);  // the last one asked about may be either of the two
        go(late_ps);
        return late_ps;
      }
      from_ps = end_ps;
    }
    return std::nullopt;
  }

  plant::Drive& drive_;
  Sampler& sampler_;
  plant::DriveState origin_;
  plant::DriveState future_;  // where the last question ended
  bool foreseen_ = false;     // nothing has been committed since
  plant::Drive::Stop stop_;
  bool ahead_ = false;
};

}  // namespace stillrotor
