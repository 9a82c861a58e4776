// What stands outside the chip: the wires, told in the order of time.
//
// The processor moves by whole instructions, its pins by cycles. An edge may therefore lie before
// the end of the instruction that is just over: edges wait here and are told one instant at a time;
// a sample or a text is asked or told only after the edges before it.
// RT     nothing here allocates.
#pragma once

#include <algorithm>
#include <array>
#include <optional>
#include <string_view>

#include "io/connector.hpp"
#include "io/mcu/clock.hpp"
#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {

/// The channel at each analog input; nullopt: nothing connected.
using AnalogInputs = std::array<std::optional<ChannelId>, analog_input_count>;

class Outside {
 public:
  explicit Outside(Clock clock) noexcept : clock_(clock) {}

  const Clock& clock() const noexcept { return clock_; }
  double supply_V() const noexcept { return supply_V_; }
  bool has_world() const noexcept { return world_ != nullptr; }
  /// True: a world not known before.
  bool connect(World& world, double supply_V) noexcept {
    const bool is_new = world_ != &world;
    world_ = &world;
    supply_V_ = supply_V;
    return is_new;
  }

  void drive(LineId line, Level level, Cycle at) noexcept {
    if (count_ == waiting_.size()) tell_first();  // never lost
    waiting_[(first_ + count_++) % waiting_.size()] = {clock_.time(at), line, level};
  }
  bool has_edges() const noexcept { return count_ != 0; }
  Time next_edge() const noexcept { return waiting_[first_].at; }
  /// Tells the edges of that instant and before.
  void tell_edges(Time until) noexcept {
    while (count_ != 0 && waiting_[first_].at <= until) tell_first();
  }

  /// How many edges the world was told so far, and the last instant at which it was told or asked.
  std::uint64_t edges_told() const noexcept { return told_; }
  Time last_contact() const noexcept { return last_contact_; }
  /// When the last of those edges was.
  Time last_edge() const noexcept { return last_edge_; }

  double volts(ChannelId channel, Cycle at) noexcept {
    tell_edges(clock_.time(at));
    last_contact_ = clock_.time(at);
    return world_->volts(channel, clock_.time(at));
  }
  /// World::crossing, asked by the world's time: nothing is told to it but the edges before.
  std::optional<Time> crossing(const Comparison& comparison, bool was_true, Time from,
                               Time to) noexcept {
    tell_edges(from);
    return world_->crossing(comparison, was_true, from, std::max(from, to));
  }
  Level level(LineId line, Cycle at) noexcept { return world_->level(line, clock_.time(at)); }
  void text(std::string_view line, Cycle at) noexcept {
    tell_edges(clock_.time(at));
    world_->text(clock_.time(at), line);
  }

 private:
  void tell_first() noexcept {
    const Edge edge = waiting_[first_];
    first_ = (first_ + 1) % waiting_.size();
    --count_;
    ++told_;
    last_contact_ = last_edge_ = edge.at;
    world_->drive(edge);
  }

  Clock clock_;
  World* world_ = nullptr;  // null before the first power()
  double supply_V_ = 0.0;   // VCC and AVCC
  std::array<Edge, 64> waiting_;
  std::size_t first_ = 0, count_ = 0;
  std::uint64_t told_ = 0;
  Time last_contact_{}, last_edge_{};
};

}  // namespace stillrotor::io::mcu
