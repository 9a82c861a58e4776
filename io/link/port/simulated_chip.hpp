// A port of the co-processor to no chip: its core and its end of the link on a counter that the
// caller moves, a simulated controller at its lines. The template of a real port, and a far end to
// try the link on.
//
// Time      of the chip: picoseconds since it was made. advance() moves it, nothing else does; who
//           calls it late delays what goes over the wire and falsifies nothing of what happened.
// Computing takes none: a step is computed when it is over and `settle` has passed (the time that a
//           real chip needs can be put there).
// Lines     Halls, encoder, fault and the converter's channels are the core's alone. What else the
//           controller reads (key, throttle) is what put() says.
// Hooks     the core's hooks reach the chip whose function runs; one thread a chip.
// RT        none: it allocates.
#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <vector>

#include "io/connector.hpp"
#include "io/link/frames/chip_end.h"
#include "io/link/port/chip_time.hpp"

namespace stillrotor::io {

struct ChipSettings {
  std::uint32_t tick_Hz = 25'000'000;
  std::uint32_t jitter_ps = 0;  // as its hello declares it; there is none here
  std::uint16_t session = 1;    // another after each reset
  std::uint32_t counter = 0;    // at the start
  /// By bit of LineId: the wire's other polarity. Gates: low is on; Halls, encoder, fault: high is
  /// sent as low. Key and switches are levels already.
  std::uint32_t inverted = 0;
  /// Lines that nobody drives read high there: pull-ups.
  std::uint32_t pulled_up =
      1U << index(line::hall_U) | 1U << index(line::hall_V) | 1U << index(line::hall_W);
  /// A channel of the chip's converter.
  struct Channel {
    std::optional<ChannelId> at{};  // of the connector; none: nothing hangs on it
    double volts_per_code = 0;      // behind the amplifiers
    std::uint32_t reset_code = 0;
  };
  /// Of the controller, switched by the line key; 0: power() says.
  double key_supply_V = 0.0;
  bool key_low_is_on = false;
  std::vector<Channel> channels;  // CP_CHANNELS at most; as many as the hello names
};

class SimulatedChip final : private World {
 public:
  /// The controller outlives it, and has no supply yet. Throws std::invalid_argument: too many
  /// channels, no tick.
  SimulatedChip(SimulatedController&, const ChipSettings&);
  SimulatedChip(const SimulatedChip&) = delete;
  SimulatedChip& operator=(const SimulatedChip&) = delete;

  /// Chip and controller up to that time; not back. May throw ConfigError where the key switches.
  void advance(Time until);
  Time now() const noexcept { return now_; }

  /// Bytes have come in; it answers at once.
  void hear(std::span<const std::uint8_t>);
  /// Some bytes are known to be missing, or a datagram begins.
  void cut() noexcept { lf_cut(&chip_.parser); }
  /// What it has sent and nobody has taken: whole frames. More than `most_waiting` waits in the
  /// chip.
  std::vector<std::uint8_t> take_sent();
  static constexpr std::size_t most_waiting = 16 * 1024;

  /// The controller's supply at its pins. May throw ConfigError.
  void power(double volts);
  /// What stands at the controller's pins beside the chip, from now on.
  void put(LineId, Level);
  void put(ChannelId, double volts);

  /// The chip alone: everything forgotten, lines let go, its counter at 0.
  void reset(std::uint16_t session);

  /// It drives its lines.
  bool driven() const noexcept { return driven_; }
  bool runs() const noexcept { return chip_.in_force != 0; }
  const lf_chip& chip() const noexcept { return chip_; }
  /// That the controller changed and the capture had no room for.
  std::uint32_t lost_edges() const noexcept { return lost_edges_; }

 private:
  friend struct ChipHooks;
  struct Due {
    std::uint64_t tick;
    LineId line;
    bool high;
  };
  static constexpr std::size_t most_captured = 4096;

  // World
  void drive(const Edge&) noexcept override;
  double volts(ChannelId channel, Time) noexcept override { return volts_[index(channel)]; }
  Level level(LineId, Time) noexcept override;
  void text(Time, std::string_view) noexcept override {}

  void start(std::uint16_t session);
  void reset_codes() noexcept;
  void serve();
  std::uint64_t next_turn() const noexcept;
  void run_controller(Time until);
  bool controller_runs() const noexcept {
    return powered_ && controller_.health() == Health::running;
  }
  std::uint64_t unwrapped(std::uint32_t tick) const noexcept;
  void show(LineId, Level);

  SimulatedController& controller_;
  ChipSettings settings_;
  ChipTime time_;
  Time now_{}, reached_{};   // by the chip; by the controller
  std::uint64_t ticks_ = 0;  // of now_, counted since the chip was made
  std::uint32_t offset_;     // the counter less ticks_
  bool powered_ = false;
  std::optional<double> supply_due_;  // switched by the key, since the controller ran last
  std::uint32_t gates_ = 0;           // as captured, positive logic
  std::deque<cp_gate_edge> captured_;
  std::uint32_t lost_edges_ = 0;
  std::vector<Due> due_;  // in order
  bool driven_ = false;
  std::array<Level, line_count> pins_{};
  std::array<double, channel_count> volts_{};
  std::deque<std::uint8_t> in_;
  std::vector<std::uint8_t> out_;
  lf_chip chip_{};
};

}  // namespace stillrotor::io
