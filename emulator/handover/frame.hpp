// What flows out of a run: frames on a time grid, edges, marks and text.
// The one vocabulary between the running side (virtual_time, later cycle) and the record.
#pragma once

#include <algorithm>
#include <array>
#include <cstddef>
#include <cstdint>
#include <span>
#include <string_view>

namespace stillrotor {

/// Signals on the grid. `spread`: also the least and greatest value inside each bin, from every
/// accepted plant step, so that nothing between two grid points escapes a peak.
struct SignalInfo {
  std::string_view name;
  std::string_view unit;  // SI
  bool spread;
  std::string_view text;
};

enum class Signal : std::uint8_t {
  current_U,
  current_V,
  current_W,
  bus_voltage,
  bus_current,
  torque,  // with spread
  bridge_current,
  speed,
  angle_e,
  current_d,
  current_q,
  terminal_U,
  terminal_V,
  terminal_W,
  back_emf_U,
  back_emf_V,
  back_emf_W,
  load_torque,
  throttle,
  sense_U,
  sense_V,
  sense_W,
  sense_bus,
  torque_mean,
  temperature_winding,
  temperature_magnet,
  temperature_heatsink,
  temperature_junction,
  state_of_charge,
  vehicle_speed,
  load_speed,
  coupling_torque,
  bus_current_mean,
  current_square_U,
  current_square_V,
  current_square_W,
  bridge_power,
  loss_winding,
  loss_rotor,
  loss_iron,
  loss_conduction,
  loss_switching,
  loss_friction,
  machine_energy
};
inline constexpr std::size_t signal_count = 44;
inline constexpr std::size_t spread_count = 6;  // the first ones

inline constexpr std::array<SignalInfo, signal_count> signal_table{{
    {"phase_current.U", "A", true, "into the machine"},
    {"phase_current.V", "A", true, "into the machine"},
    {"phase_current.W", "A", true, "into the machine"},
    {"bus_voltage", "V", true, "at the bridge"},
    {"bus_current", "A", true, "out of the supply"},
    {"torque", "N m", true, "electromagnetic"},
    {"bridge_current", "A", false, "from the DC link into the bridge, mean over the bin"},
    {"speed", "rad/s", false, "mechanical, motor shaft"},
    {"angle_e", "rad", false, "electrical, 0 to 2 pi"},
    {"current_d", "A", false, "on the magnet axis"},
    {"current_q", "A", false, "90 electrical degrees ahead of the magnet axis"},
    {"terminal_voltage.U", "V", false, "to the negative rail"},
    {"terminal_voltage.V", "V", false, "to the negative rail"},
    {"terminal_voltage.W", "V", false, "to the negative rail"},
    {"back_emf.U", "V", false, "phase to star point"},
    {"back_emf.V", "V", false, "phase to star point"},
    {"back_emf.W", "V", false, "phase to star point"},
    {"load_torque", "N m", false, "load and slope at the motor shaft"},
    {"throttle", "V", false, "at the controller's pin"},
    {"sense.phase_current.U", "V", false, "at the controller's pin"},
    {"sense.phase_current.V", "V", false, "at the controller's pin"},
    {"sense.phase_current.W", "V", false, "at the controller's pin"},
    {"sense.bus_voltage", "V", false, "at the controller's pin"},
    {"torque_mean", "N m", false, "electromagnetic, mean over the bin"},
    {"temperature.winding", "K", false, "of the machine's windings"},
    {"temperature.magnet", "K", false, "of the rotor: magnets or cage"},
    {"temperature.heatsink", "K", false, "of the power stage's heatsink"},
    {"temperature.junction", "K", false, "of the warmest leg's switches"},
    {"state_of_charge", "1", false, "of the battery, 0 to 1"},
    {"vehicle_speed", "m/s", false,
     "of the cart; by the wheel's rim where the wheel does not slip"},
    {"load_speed", "rad/s", false, "of the load side, on the motor's side of the gear"},
    {"coupling_torque", "N m", false,
     "passed on to the load side, on the motor's side of the gear"},
    {"bus_current_mean", "A", false, "out of the supply, mean over the bin"},
    {"phase_current_square.U", "A2", false, "mean square over the bin"},
    {"phase_current_square.V", "A2", false, "mean square over the bin"},
    {"phase_current_square.W", "A2", false, "mean square over the bin"},
    {"bridge_power", "W", false,
     "from the DC link into the bridge, what changes of switches draw included; mean over the bin"},
    {"loss.winding", "W", false, "heat of the machine's (stator) windings, mean over the bin"},
    {"loss.rotor", "W", false, "heat of an induction machine's cage, mean over the bin"},
    {"loss.iron", "W", false, "heat of the machine's iron, mean over the bin"},
    {"loss.conduction", "W", false, "heat of switches and diodes that conduct, mean over the bin"},
    {"loss.switching", "W", false, "heat of changes of switches, mean over the bin"},
    {"loss.friction", "W", false, "friction of shaft, gear and joint, mean over the bin"},
    {"machine_energy", "J", false,
     "in the machine's field beyond that of its magnets, and cogging"},
}};

/// One grid point: values at its instant (means: over the bin that ends there), and least and
/// greatest over the bin that ends there.
struct Frame {
  std::int64_t at_ps = 0;
  std::array<float, signal_count> value{};
  std::array<float, spread_count> least{}, greatest{};
};

/// Greatest magnitude of any phase current in the frame's bin [A].
inline float current_peak_A(const Frame& frame) noexcept {
  float peak = 0.0F;
  for (const Signal phase : {Signal::current_U, Signal::current_V, Signal::current_W}) {
    const auto k = static_cast<std::size_t>(phase);
    peak = std::max({peak, -frame.least[k], frame.greatest[k]});
  }
  return peak;
}

/// A change of a connector line (io::LineId), after harness and wire faults. level 0 or 1: what
/// the receiver reads; for gates: 1 = switch commanded on (polarity removed).
struct LineEdge {
  std::int64_t at_ps = 0;
  std::uint16_t line = 0;
  std::uint8_t level = 0;
};

enum class MarkKind : std::uint8_t {
  action,  // a scenario action, by its label
  fault,   // name, detail
  event,   // something happened: "all gates off", "controller crashed: ..."
  text,    // what the controller sent
  gap      // [at_ps, to_ps] is not trusted: detail says why
};

/// Receives what a run produces, in order of time per kind. One producer thread.
/// RT: frame() and edge() are wait-free where the implementation says so.
class RunSink {
 public:
  virtual ~RunSink() = default;
  virtual void frame(const Frame&) noexcept = 0;
  virtual void edge(const LineEdge&) noexcept = 0;
  /// As edge() for one after the other; for sinks that a call an edge would cost too much.
  virtual void edges(std::span<const LineEdge> several) noexcept {
    for (const LineEdge& one : several) edge(one);
  }
  /// name and detail are copied. to_ps only for gaps.
  virtual void mark(MarkKind, std::int64_t at_ps, std::string_view name, std::string_view detail,
                    std::int64_t to_ps = 0) noexcept = 0;
};

}  // namespace stillrotor
