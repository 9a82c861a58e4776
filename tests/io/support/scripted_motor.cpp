#include "tests/io/support/scripted_motor.hpp"

#include <algorithm>
#include <cmath>
#include <stdexcept>

namespace stillrotor::io::test {
namespace {

constexpr double pi = 3.14159265358979323846;
constexpr double two_pi = 2.0 * pi;
constexpr double winding_step_s = 0.5e-6;

double seconds(Time t) { return 1e-12 * static_cast<double>(t.count()); }

double wrapped(double angle) {
  const double a = std::fmod(angle, two_pi);
  return a < 0.0 ? a + two_pi : a;
}

constexpr std::size_t first_sensor = index(line::hall_U), past_sensor = index(line::encoder_Z) + 1;

}  // namespace

ScriptedMotor::ScriptedMotor(const MotorScript& script)
    : script_(script), throttle_V_(script.rest_throttle_V) {
  gates_.fill(Level::released);
  levels_.fill(Level::low);
  for (std::size_t k = first_sensor; k < past_sensor; ++k)
    levels_[k] = motor_level(k, script_.theta_m_rad) ? Level::high : Level::low;
}

double ScriptedMotor::theta_m_rad(Time t) const {
  return script_.theta_m_rad + script_.omega_m_rad_s * seconds(t - speed_since_);
}
double ScriptedMotor::theta_e_rad(Time t) const {
  return wrapped(script_.pole_pairs * theta_m_rad(t));
}

void ScriptedMotor::set_speed(double omega_m_rad_s) {
  script_.theta_m_rad = theta_m_rad(now_);
  speed_since_ = now_;
  script_.omega_m_rad_s = omega_m_rad_s;
}

bool ScriptedMotor::motor_level(std::size_t k, double theta_m) const {
  if (k < index(line::encoder_A)) {
    const double offset = static_cast<double>(k - first_sensor) * script_.hall_spacing_deg;
    const double a = wrapped(script_.pole_pairs * theta_m - (offset - 90.0) * pi / 180.0);
    return a < pi;
  }
  // Forward, counts 0 1 2 3 read AB = 10 11 01 00; count 0 starts at the index.
  const double counts = 4.0 * script_.encoder_lines / two_pi;
  const auto count =
      static_cast<std::int64_t>(std::floor((theta_m - script_.encoder_index_rad) * counts));
  const std::int64_t in_line = (count % 4 + 4) % 4;
  if (k == index(line::encoder_A)) return in_line < 2;
  if (k == index(line::encoder_B)) return in_line == 1 || in_line == 2;
  return count % (4 * script_.encoder_lines) == 0;
}

/// The first time > after at which a boundary of the encoder or of a Hall sector is passed, rounded
/// up so that the motor is past it; limit where there is none before.
Time ScriptedMotor::next_motor_edge(Time after, Time limit) const {
  const double w = script_.omega_m_rad_s;
  if (w == 0.0) return limit;
  Time first = limit;
  const auto consider = [&](double origin, double grid) {
    const double place = (theta_m_rad(after) - origin) / grid;
    for (const double next : w > 0.0 ? std::array{std::floor(place), std::floor(place) + 1.0}
                                     : std::array{std::ceil(place), std::ceil(place) - 1.0}) {
      const double dt = (origin + next * grid - script_.theta_m_rad) / w;
      const Time at = speed_since_ + Time{static_cast<std::int64_t>(std::ceil(dt * 1e12)) + 1};
      if (at > after) {
        first = std::min(first, at);
        break;
      }
    }
  };
  consider(script_.encoder_index_rad, two_pi / (4.0 * script_.encoder_lines));
  // All Hall flips of both spacings lie at 30 degrees and every 60 after it.
  consider(pi / 6.0 / script_.pole_pairs, pi / 3.0 / script_.pole_pairs);
  return first;
}

void ScriptedMotor::set_line(LineId id, Level level) {
  forced_[index(id)] = true;
  levels_[index(id)] = level;
  changed_.push_back(id);
}

void ScriptedMotor::free_line(LineId id) {
  forced_[index(id)] = false;
  if (index(id) >= first_sensor && index(id) < past_sensor)
    levels_[index(id)] = motor_level(index(id), theta_m_rad(now_)) ? Level::high : Level::low;
  changed_.push_back(id);
}

void ScriptedMotor::power(SimulatedController& controller, double volts) {
  controller.power(volts, now_, *this);
}

void ScriptedMotor::run(SimulatedController& controller, Time until) {
  deliver_up_to(controller, now_);
  int standing_still = 0;
  while (now_ < until) {
    const Time motor_edge = next_motor_edge(now_, until);
    const Time horizon = std::min({until, now_ + look_ahead, motor_edge});
    const std::size_t edges = gate_edges.size();
    const Time reached = controller.run(horizon);
    turns.push_back({horizon, reached, edges, gate_edges.size() - edges});
    standing_still = reached > now_ ? 0 : standing_still + 1;
    if (standing_still > 1000) throw std::runtime_error("the controller does not let time pass");
    deliver_up_to(controller, std::max(now_, reached));
    if (probe) probe();
  }
}

void ScriptedMotor::deliver_up_to(SimulatedController& controller, Time reached) {
  const auto hand_over = [&](LineId id) {
    delivered.push_back({now_, id, levels_[index(id)]});
    controller.deliver(delivered.back());
  };
  for (const LineId id : changed_) hand_over(id);
  changed_.clear();
  for (;;) {
    const Time at = next_motor_edge(now_, reached + Time{1});
    if (at > reached) break;
    now_ = at;
    for (std::size_t k = first_sensor; k < past_sensor; ++k) {
      const Level level = motor_level(k, theta_m_rad(now_)) ? Level::high : Level::low;
      if (forced_[k] || level == levels_[k]) continue;
      levels_[k] = level;
      hand_over(LineId{static_cast<std::uint16_t>(k)});
    }
  }
  now_ = reached;
}

void ScriptedMotor::drive(const Edge& edge) noexcept {
  advance_winding(edge.at);
  if (is_gate(edge.line)) gates_[index(edge.line)] = edge.level;
  gate_edges.push_back(edge);
}

double ScriptedMotor::volts(ChannelId id, Time at) noexcept {
  advance_winding(at);
  if (id == channel::throttle) return throttle_V_;
  if (id == channel::bus_voltage) return script_.bus_ratio * script_.bus_V;
  const std::size_t k = index(id) - index(channel::phase_current_U);
  // A low-side shunt: nothing to see while the high switch carries the phase.
  const double seen = gates_[2 * k] == Level::high ? 0.0 : current_A_[k];
  return script_.current_offset_V + script_.current_gain_V_per_A * seen;
}

Level ScriptedMotor::level(LineId id, Time) noexcept { return levels_[index(id)]; }

void ScriptedMotor::text(Time at, std::string_view said) noexcept {
  words.push_back({at, std::string(said)});
}

bool ScriptedMotor::spoke(std::string_view part) const {
  return std::any_of(words.begin(), words.end(),
                     [&](const Words& w) { return w.text.find(part) != std::string::npos; });
}

bool ScriptedMotor::all_gates(Level level) const {
  return std::all_of(gates_.begin(), gates_.end(), [&](Level l) { return l == level; });
}

/// Small explicit steps: L di/dt = v_leg - v_star - R i - e, star point free, e = -w psi sin.
/// An off leg follows its diode while current flows and floats at zero current (rectification into
/// the bus is left out: keep the EMF below half the bus).
void ScriptedMotor::advance_winding(Time until) {
  while (winding_at_ < until) {
    const Time step =
        std::min(until - winding_at_, Time{static_cast<std::int64_t>(1e12 * winding_step_s)});
    const double dt = seconds(step);
    const double theta = theta_e_rad(winding_at_ + step / 2);
    std::array<double, 3> drive_V{};
    std::array<bool, 3> conducts{};
    double sum = 0.0;
    int legs = 0;
    for (std::size_t k = 0; k < 3; ++k) {
      const bool high = gates_[2 * k] == Level::high, low = gates_[2 * k + 1] == Level::high;
      const double leg_V = high ? script_.bus_V : low || current_A_[k] > 0.0 ? 0.0 : script_.bus_V;
      conducts[k] = high || low || current_A_[k] != 0.0;
      const double emf = -omega_e_rad_s() * script_.flux_linkage_Wb *
                         std::sin(theta - two_pi / 3.0 * static_cast<double>(k));
      drive_V[k] = leg_V - script_.resistance_ohm * current_A_[k] - emf;
      if (conducts[k]) sum += drive_V[k], ++legs;
    }
    if (legs >= 2) {
      const double star = sum / legs;
      for (std::size_t k = 0; k < 3; ++k) {
        if (!conducts[k]) continue;
        const double before = current_A_[k];
        current_A_[k] += dt * (drive_V[k] - star) / script_.inductance_H;
        const bool by_diode = gates_[2 * k] != Level::high && gates_[2 * k + 1] != Level::high;
        if (by_diode && before * current_A_[k] <= 0.0) current_A_[k] = 0.0;
      }
      // A diode that let go leaves a remainder; the conducting legs share it.
      const double rest = (current_A_[0] + current_A_[1] + current_A_[2]);
      int sharing = 0;
      for (const double i : current_A_) sharing += i != 0.0;
      for (double& i : current_A_)
        if (i != 0.0) i -= rest / sharing;
    } else {
      current_A_ = {};
    }
    winding_at_ += step;
  }
}

std::array<double, 3> ScriptedMotor::currents_A() {
  advance_winding(now_);
  return current_A_;
}

std::array<double, 2> ScriptedMotor::currents_dq_A() {
  const auto i = currents_A();
  const double theta = theta_e_rad(now_);
  std::array<double, 2> dq{};
  for (std::size_t k = 0; k < 3; ++k) {
    const double a = theta - two_pi / 3.0 * static_cast<double>(k);
    dq[0] += 2.0 / 3.0 * i[k] * std::cos(a);
    dq[1] -= 2.0 / 3.0 * i[k] * std::sin(a);
  }
  return dq;
}

}  // namespace stillrotor::io::test
