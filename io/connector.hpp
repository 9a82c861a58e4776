// What crosses the controller's low-voltage connector, and what a simulated controller is.
//
// Time  int64 picoseconds since arm(): 106 days; one cycle of 16 or 20 MHz is exact.
// Order edges are ordered by time; ties: harness fault, gate, plant, then LineId.
// Errors set-up throws ConfigError; nothing here throws after power().
#pragma once

#include <chrono>
#include <cstdint>
#include <optional>
#include <ratio>
#include <span>
#include <stdexcept>
#include <string>
#include <string_view>
#include <vector>

#include "io/firmware_settings.hpp"

namespace stillrotor::io {

using Time = std::chrono::duration<std::int64_t, std::pico>;

enum class LineId : std::uint16_t {};
enum class ChannelId : std::uint16_t {};

/// released: nobody drives the wire, the pull decides.
enum class Level : std::uint8_t { low, high, released };

struct Edge {
  Time at{};
  LineId line{};
  Level level = Level::low;
};
struct Sample {
  Time at{};
  ChannelId channel{};
  double volts = 0.0;
};
/// A stretch in which edges of a line may be missing; lost 0: unknown how many.
struct Gap {
  Time from{}, to{};
  LineId line{};
  std::uint32_t lost = 0;
};

/// The lines of the connector. The controller drives gates, the gate driver's enable, the clock and
/// select lines of an absolute angle sensor, contactor, brake chopper and lamp, the bench all
/// others.
namespace line {
inline constexpr LineId gate_UH{0}, gate_UL{1}, gate_VH{2}, gate_VL{3}, gate_WH{4}, gate_WL{5};
inline constexpr LineId hall_U{6}, hall_V{7}, hall_W{8};
inline constexpr LineId encoder_A{9}, encoder_B{10}, encoder_Z{11};
inline constexpr LineId key{12}, brake{13}, reverse{14};
/// Of an absolute angle sensor. data: its pulse or its bits.
inline constexpr LineId angle_data{15}, angle_clock{16}, angle_select{17};
/// Of the gate driver. fault: on while its open-drain output pulls.
inline constexpr LineId driver_fault{18}, driver_enable{19};
/// Of the supply: on closes the contactor, switches the brake resistor on.
inline constexpr LineId contactor{20}, brake_chopper{21};
/// The driver's command as the width of a pulse.
inline constexpr LineId command_pulse{22};
/// A switch of the driver's: while it is on the controller keeps to a lower top speed.
inline constexpr LineId speed_limit{23};
/// The controller's fault lamp: on lights it.
inline constexpr LineId lamp{24};
}  // namespace line
inline constexpr std::size_t gate_count = 6;
inline constexpr std::size_t line_count = 25;
inline constexpr std::size_t line_bytes = (line_count + 7) / 8;  // one bit a line
static_assert(line_count <= 32);                                 // bits of one word

/// The analog channels of the connector, bench to controller.
namespace channel {
inline constexpr ChannelId throttle{0};
inline constexpr ChannelId phase_current_U{1}, phase_current_V{2}, phase_current_W{3};
inline constexpr ChannelId bus_voltage{4}, dc_link_current{5};
inline constexpr ChannelId phase_voltage_U{6}, phase_voltage_V{7}, phase_voltage_W{8};
inline constexpr ChannelId angle_sin{9}, angle_cos{10};
inline constexpr ChannelId temperature_motor{11}, temperature_bridge{12};
/// Common point of three equal resistors from the terminals.
inline constexpr ChannelId star_point{13};
}  // namespace channel
inline constexpr std::size_t channel_count = 14;

constexpr std::size_t index(LineId id) noexcept { return static_cast<std::size_t>(id); }
constexpr std::size_t index(ChannelId id) noexcept { return static_cast<std::size_t>(id); }
constexpr bool is_gate(LineId id) noexcept { return index(id) < gate_count; }
constexpr bool from_controller(LineId id) noexcept {
  return is_gate(id) || id == line::angle_clock || id == line::angle_select ||
         id == line::driver_enable || id == line::contactor || id == line::brake_chopper ||
         id == line::lamp;
}

/// Names as users write them: "gates.UH", "hall.U", "encoder.A", "key"; "phase_current.U",
/// "throttle".
std::string_view name(LineId) noexcept;
std::string_view name(ChannelId) noexcept;
std::optional<LineId> find_line(std::string_view name) noexcept;
std::optional<ChannelId> find_channel(std::string_view name) noexcept;

/// A controller cannot be set up as asked. what() says which setting, its value, what is allowed
/// and the remedy; path names the parameter ("controller.firmware").
class ConfigError : public std::runtime_error {
 public:
  ConfigError(std::string parameter_path, const std::string& what)
      : std::runtime_error(what), path(std::move(parameter_path)) {}
  std::string path;
};

enum class Health : std::uint8_t {
  running,
  exited,   // came to its own end (a capture that ran out, firmware that halted on purpose)
  crashed,  // executed what no processor would, or threw
  hung      // makes no progress and never can
};

/// What one input of an analog comparator is tied to: a channel, or a fixed voltage.
struct Potential {
  std::optional<ChannelId> channel{};
  double volts = 0.0;  // where there is no channel
};
/// True while plus lies above minus; about equality the answer stays what it was.
struct Comparison {
  Potential plus, minus;
  double hysteresis_V = 0.0;  // width of that band
  constexpr bool holds(double plus_V, double minus_V, bool was_true) const noexcept {
    return plus_V - minus_V > (was_true ? -0.5 : 0.5) * hysteresis_V;
  }
};

/// What a simulated controller sees of the world. Calls' times never decrease. World is answered
/// at the connector pins, after harness, polarity and wire faults.
class World {
 public:
  virtual ~World() = default;
  /// A line that the controller drives changes. Only actual changes of level need to be told.
  virtual void drive(const Edge&) noexcept = 0;
  /// The same for changes that are decided on, whatever the controller may yet hear: in the order
  /// of time, none beyond the horizon of the running run(). The world takes the first, or as many
  /// as nothing comes of. Returns how many; more than one: run() may go on.
  virtual std::size_t drive_ahead(std::span<const Edge> edges) noexcept {
    drive(edges.front());
    return 1;
  }
  /// A change, told in place of drive(), of which nothing comes that the controller would hear of
  /// within the running run(): it is taken, and run() may go on. false: it is not, has to be
  /// driven, and run() to end with it.
  virtual bool pass(const Edge&) noexcept { return false; }
  /// Edges that the controller hears later (SimulatedController::hears_later()), before that time
  /// and not delivered yet, in order; valid until the next call of anything here.
  virtual std::span<const Edge> heard(Time) noexcept { return {}; }
  /// Exact at that time, at the pin [V].
  virtual double volts(ChannelId, Time) noexcept = 0;
  virtual Level level(LineId, Time) noexcept = 0;
  /// The first moment from `from` to `to` at which the comparison is not what it was, while the
  /// lines that the controller drives stay as they are; nullopt: none. A question about the future
  /// that moves nothing on: `to` is at most the horizon of the running run(), `from` not before
  /// what the world was last told or asked. As it stands here: for a world whose voltages hold
  /// still while the controller runs.
  virtual std::optional<Time> crossing(const Comparison& comparison, bool was_true, Time from,
                                       Time) noexcept {
    const auto at = [&](const Potential& p) {
      return p.channel ? volts(*p.channel, from) : p.volts;
    };
    const bool holds = comparison.holds(at(comparison.plus), at(comparison.minus), was_true);
    return holds == was_true ? std::nullopt : std::optional(from);
  }
  /// Text that the controller sends (UART or console); copied. `at` is the time of its last byte.
  virtual void text(Time at, std::string_view) noexcept = 0;
};

/// A controller under test that lives in virtual time.
/// The scheduler calls power(), then run() and deliver() in turn; one thread.
class SimulatedController {
 public:
  virtual ~SimulatedController() = default;
  /// Supply at the controller's own pins: start, brown-out, off (0 V). Keeps World until the next
  /// call. May throw ConfigError. At 0 V every gate line is driven to Level::released.
  virtual void power(double volts, Time, World&) = 0;
  /// Runs until its first drive() (of drive_ahead(): see there), else to the first instruction end
  /// >= horizon; returns the time reached (>= the time of what was driven). Never called with a
  /// horizon in the past.
  virtual Time run(Time horizon) noexcept = 0;
  /// A plant edge at <= the time reached.
  virtual void deliver(const Edge&) noexcept = 0;
  /// Bit k: edges of LineId k change nothing of what it does until it asks for them by
  /// World::heard(). It may then run on behind them. Changes only in power() and run(), which has
  /// heard what came before and returns where there are fewer.
  virtual std::uint32_t hears_later() const noexcept { return 0; }
  virtual Health health() const noexcept = 0;
  /// One sentence on why it is not running; empty while it is.
  virtual std::string_view diagnosis() const noexcept = 0;
  /// All that its firmware declares, as read back when it last started.
  virtual std::vector<Setting> settings() const { return {}; }
  /// After a run, lines for people: which blocks of a simulated chip the firmware used, what
  /// answered by a model and what was guessed at. Empty: nothing to say.
  virtual std::string coverage() const { return {}; }
};

}  // namespace stillrotor::io
