// A whole run with a controller behind a co-processor, in virtual time: bench, cycle, link, chip
// and controller on one clock that the cycle's sleep moves. Frames of the chip can be lost, and the
// wire pulled.
#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <memory>
#include <random>
#include <span>
#include <string>
#include <vector>

#include "emulator/cycle/cycle.hpp"
#include "emulator/judge/judge.hpp"
#include "io/link/link.hpp"
#include "io/link/port/simulated_chip.hpp"
#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor::test {

/// Chip and link, a frame's way of 60 us each direction.
class VirtualWire : io::LinkSession::Wire {
 public:
  VirtualWire(io::SimulatedController& controller, const io::ChipSettings& settings)
      : chip(controller, settings) {}

  void connect(io::LinkSession&);
  void advance_to(std::int64_t ns);
  std::int64_t now_ns() const { return now_ns_; }

  io::SimulatedChip chip;
  double lost = 0.0;  // share of the chip's frames
  bool pulled = false;
  std::function<void(std::int64_t now_ns)> on_ms;

 private:
  struct OnTheWay {
    std::int64_t at_ns;
    std::vector<std::uint8_t> frame;
  };
  bool send(std::span<const std::uint8_t>) override;
  void carry();

  io::LinkSession* session_ = nullptr;
  std::int64_t now_ns_ = 1'000'000'000'000, begun_ns_ = now_ns_, last_ms_ = 0;
  std::deque<OnTheWay> up_, down_;
  std::vector<std::uint8_t> half_;
  std::mt19937 random_{5};
};

/// A controller that notes when the key gives it its supply.
class KeyWatch final : public io::SimulatedController {
 public:
  explicit KeyWatch(std::unique_ptr<io::SimulatedController> inner) : inner_(std::move(inner)) {}
  void power(double volts, io::Time at, io::World& world) override {
    if (volts > 0.0 && seen) seen();
    inner_->power(volts, at, world);
  }
  io::Time run(io::Time horizon) noexcept override { return inner_->run(horizon); }
  void deliver(const io::Edge& edge) noexcept override { inner_->deliver(edge); }
  io::Health health() const noexcept override { return inner_->health(); }
  std::string_view diagnosis() const noexcept override { return inner_->diagnosis(); }

  std::function<void()> seen;

 private:
  std::unique_ptr<io::SimulatedController> inner_;
};

struct LinkedRun {
  /// scenario: a whole file's text.
  explicit LinkedRun(const std::string& scenario,
                     const std::function<void(io::ChipSettings&)>& rewire = {});

  /// From the opening of the wires to the verdict.
  void go();
  /// Of the scenario's clock.
  std::int64_t at_ns(double s) const { return armed_ns + static_cast<std::int64_t>(s * 1e9); }

  testing::ScratchFolder folder;
  Bench bench;
  Scenario scenario;
  KeyWatch controller;
  VirtualWire wire;
  std::int64_t key_seen_ns = 0;  // first, by the controller
  std::int64_t armed_ns = 0;
  CycleEnd end = CycleEnd::asked;
  io::LinkStatus link;
  MirrorReport mirror;
  io::WireCounts counts;
  std::int64_t end_ps = 0;
  Judgement judgement;
};

}  // namespace stillrotor::test
