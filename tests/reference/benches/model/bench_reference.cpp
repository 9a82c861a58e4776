#include "tests/reference/benches/model/bench_reference.hpp"

#include <algorithm>
#include <cmath>

#include "tests/reference/benches/model/angle_answers.hpp"
#include "tests/reference/benches/model/followed.hpp"
#include "tests/reference/benches/model/turning_lines.hpp"
#include "tests/reference/benches/model/volts.hpp"
#include "tests/reference/benches/model/warm_bodies.hpp"

namespace stillrotor::reference {
namespace {

constexpr double zero_C_K = 273.15;

class Reference {
 public:
  explicit Reference(const Bench&);
  void go(std::int64_t to_ps);
  void make(const Moment&);
  void read();
  std::uint8_t levels() const {
    return static_cast<std::uint8_t>(lines_.levels() |
                                     (answers_.level() ? 1U : 0U)
                                         << static_cast<int>(plant::SensorLine::absolute_angle));
  }
  Shown shown;

 private:
  TurningLines::Motion held(std::int64_t since_ps, double t) const;
  TurningLines::Motion motion() const;
  AngleAnswers::Shaft shaft() const;
  void happen(const Happening&);
  void tick();
  void take_temperatures(bool from_bodies);

  const Bench& bench_;
  const plant::DriveParameters& p_;
  CvodeRun run_;
  std::int64_t now_ps_ = 0, tick_at_ps_ = tick_ps;
  // A dynamometer's ramp, in closed form.
  std::int64_t held_since_ps_ = 0;
  double held_theta_e_ = 0.0, held_omega_e_ = 0.0, held_alpha_e_ = 0.0;
  TurningLines lines_;
  AngleAnswers answers_;
  Followed followed_;
  std::array<double, 2> sin_cos_shift_rad_ = {};
  WarmBodies bodies_;
  std::array<double, 3> switching_before_J_ = {};
  std::array<double, plant::temperature_node_count> temperature_C_ = {25.0, 25.0, 25.0, 25.0};
  double winding_K_, magnet_K_;
};

/// Nearer than this to a rung or a code's border rounding decides: a dynamometer's angle is exact,
/// of a free rotor both sides' is known as well as the currents that turn it.
double decided_rad(const Experiment& e) { return e.speed_held ? 1e-10 : 1e-6; }

Reference::Reference(const Bench& b)
    : bench_(b),
      p_(b.drive.parameters),
      run_(p_, start_state(b.drive), start_inputs(b.drive)),
      lines_(p_, b.drive.start_theta_e_rad, decided_rad(b.drive)),
      answers_(p_, {b.drive.start_theta_e_rad / p_.pole_pairs(), b.drive.start_omega_m_rad_s},
               decided_rad(b.drive), shown),
      followed_(p_),
      bodies_(p_.thermal),
      winding_K_(p_.machine.reference_temperature_K),
      magnet_K_(winding_K_) {
  held_theta_e_ = b.drive.start_theta_e_rad;
  held_omega_e_ = b.drive.start_omega_m_rad_s * p_.pole_pairs();
  held_alpha_e_ = b.drive.held_acceleration_rad_s2 * p_.pole_pairs();
  if (p_.thermal.fitted) magnet_K_ = p_.thermal.ambient_K;
  run_.inputs().machine = {winding_K_, magnet_K_};  // nothing flows yet that it could move
  if (p_.thermal.fitted) take_temperatures(true);
  AbcInputs before = run_.inputs();
  before.open = {};  // parted after the start
  followed_.settle(run_.state(), before);
  run_.watch([this](const Stretch& s) {
    TurningLines::Way way{
        s.since_ps, [&](double t) {
          if (bench_.drive.speed_held) return held(s.since_ps, t);
          const AbcState x = s.at(t);
          return TurningLines::Motion{x.theta_e_rad, x.omega_m_rad_s * p_.pole_pairs()};
        }};
    lines_.turn(way, s.from_s, s.to_s, shown);
    followed_.follow(s, shown);
  });
}

// ---- how the shaft stands

TurningLines::Motion Reference::held(std::int64_t since_ps, double t) const {
  t += 1e-12 * static_cast<double>(since_ps - held_since_ps_);
  return {held_theta_e_ + t * (held_omega_e_ + 0.5 * t * held_alpha_e_),
          held_omega_e_ + t * held_alpha_e_};
}

TurningLines::Motion Reference::motion() const {
  if (bench_.drive.speed_held) return held(now_ps_, 0.0);
  return {run_.state().theta_e_rad, run_.state().omega_m_rad_s * p_.pole_pairs()};
}

AngleAnswers::Shaft Reference::shaft() const {
  const TurningLines::Motion m = motion();
  return {m.theta_e / p_.pole_pairs(), m.omega_e / p_.pole_pairs()};
}

// ---- temperatures

void Reference::tick() {
  GatheredHeat heat = followed_.take_heat();
  for (std::size_t k = 0; k < 3; ++k) {
    heat.leg_J[k] += run_.switching_J()[k] - switching_before_J_[k];
    switching_before_J_[k] = run_.switching_J()[k];
  }
  bodies_.tick(heat);
  take_temperatures(true);
}

void Reference::take_temperatures(bool from_bodies) {
  if (from_bodies) {
    const auto node_K = bodies_.node_K();
    for (std::size_t k = 0; k < node_K.size(); ++k) temperature_C_[k] = node_K[k] - zero_C_K;
    winding_K_ = node_K[0];
    magnet_K_ = node_K[1];
  }
  run_.change_machine({winding_K_, magnet_K_});
}

// ---- time

void Reference::go(std::int64_t to_ps) {
  for (;;) {
    const std::int64_t ticks = p_.thermal.fitted ? tick_at_ps_ : INT64_MAX;
    const std::int64_t next = std::min({to_ps, ticks, answers_.takes_at_ps()});
    run_.advance_to(next);
    now_ps_ = next;
    answers_.pass(next, shown);
    if (next == ticks) {
      tick();
      tick_at_ps_ += tick_ps;
    }
    if (next == answers_.takes_at_ps()) {
      answers_.take(shaft(), shown);
    } else if (next == to_ps) {
      return;
    }
  }
}

void Reference::make(const Moment& m) {
  if (m.what == Moment::What::gate) {
    const GateEdge& edge = bench_.drive.edges[m.index];
    run_.gate(static_cast<std::size_t>(edge.gate), edge.on);
  }
  if (m.what == Moment::What::change) reference::make(bench_.drive.changes[m.index], run_);
  if (m.what == Moment::What::happening) happen(bench_.happenings[m.index]);
  if (m.what == Moment::What::reading) read();
}

void Reference::happen(const Happening& h) {
  using Kind = Happening::Kind;
  switch (h.kind) {
    case Kind::hall_shift:
      lines_.hall_shift_rad[h.which] = h.value;
      lines_.look(motion(), now_ps_, shown);
      break;
    case Kind::hall_carrier:
      lines_.hall_carrier_rad = h.value;
      lines_.look(motion(), now_ps_, shown);
      break;
    case Kind::encoder_dirt:
      lines_.dirty_share = h.value;
      lines_.look(motion(), now_ps_, shown);
      break;
    case Kind::encoder_slip:
      lines_.slip += h.which;
      lines_.look(motion(), now_ps_, shown);
      break;
    case Kind::sin_cos_shift:
      sin_cos_shift_rad_[static_cast<std::size_t>(h.which)] = h.value;
      break;
    case Kind::angle_stuck:
      answers_.stick(h.on, shaft(), now_ps_, shown);
      break;
    case Kind::angle_error:
      answers_.error = h.on;
      break;
    case Kind::angle_bits:
      answers_.all_bits_wrong = h.on;
      break;
    case Kind::angle_clock:
      answers_.clock(h.on, shaft(), now_ps_, shown);
      break;
    case Kind::angle_selected:
      answers_.select(h.on, shaft(), now_ps_, shown);
      break;
    case Kind::ambient:
      bodies_.ambient_K = h.value;
      break;
    case Kind::body: {
      const auto node = static_cast<plant::TemperatureNode>(h.which);
      if (p_.thermal.fitted && node != plant::TemperatureNode::junction) {
        bodies_.set(node, h.value + zero_C_K);
        take_temperatures(true);
        break;
      }
      temperature_C_[static_cast<std::size_t>(h.which)] = h.value;
      if (node == plant::TemperatureNode::winding) winding_K_ = h.value + zero_C_K;
      if (node == plant::TemperatureNode::magnet) magnet_K_ = h.value + zero_C_K;
      take_temperatures(false);
      break;
    }
    case Kind::held_ramp: {
      held_theta_e_ = motion().theta_e;
      held_since_ps_ = now_ps_;
      held_omega_e_ = h.value * p_.pole_pairs();
      held_alpha_e_ = h.rate * p_.pole_pairs();
      run_.inputs().held_acceleration_rad_s2 = h.rate;
      break;
    }
  }
}

void Reference::read() {
  const CvodeRun::Now now = run_.now();
  Sensed s;
  s.at_ps = now_ps_;
  for (std::size_t k = 0; k < 3; ++k) s.phase_output_A[k] = followed_.phase_A(k);
  s.dc_link_output_A = followed_.dc_link_A();
  s.bus_V = followed_.bus_V(now.rates.bus_V);
  s.terminal_V = followed_.terminal_V(now.terminal_V);
  s.theta_m = shaft().theta_m;
  s.sin_cos_shift_rad = sin_cos_shift_rad_;
  s.temperature_C = temperature_C_;
  Reading r{.at_ps = now_ps_, .volts = volts(p_, s), .temperature_C = temperature_C_};
  r.housing_C = bodies_.housing_K() - zero_C_K;
  r.line_A = run_.lines_A();
  r.bus_V = now.rates.bus_V;
  shown.readings.push_back(r);
}

}  // namespace

Shown ask_reference(const Bench& bench, const std::vector<Moment>& all) {
  Reference reference(bench);
  for (const Moment& m : all) {
    reference.go(m.at_ps);
    reference.shown.levels.push_back(reference.levels());
    reference.make(m);
  }
  return reference.shown;
}

}  // namespace stillrotor::reference
