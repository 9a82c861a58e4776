#include "tests/reference/benches/model/callers.hpp"

#include <algorithm>
#include <utility>

#include "tests/reference/cvode/model/draw.hpp"

namespace stillrotor::reference {
namespace {

/// Somebody to whom steps are shown, or for whom they are tallied, takes other ways through the
/// plant.
class Onlooker final : public plant::SegmentObserver {
 public:
  explicit Onlooker(bool tallies) {
    if (tallies) tally = &tally_;
  }
  void on_segment(const plant::Segment& segment) noexcept override {
    seen_s_ += segment.length_s;
    tally_.clear(segment.end->time_ps + 20'000'000);
  }

 private:
  double seen_s_ = 0.0;
  plant::Tally tally_;
};

class Caller {
 public:
  Caller(const Bench& bench, Manner manner, std::uint64_t seed)
      : bench_(bench),
        manner_(manner),
        draw_(seed),
        drive_(start_plant(bench.drive)),
        twin_(bench.drive.parameters) {}

  Shown ask(const std::vector<Moment>&);

 private:
  std::int64_t now_ps() const { return drive_.state().time_ps; }
  void note(const plant::Drive::Stop&);
  void go(std::int64_t to_ps);
  void stroll(std::int64_t to_ps);
  void look_ahead(std::int64_t to_ps);
  void make(const Moment&);
  void happen(const Happening&);
  void read();
  /// Nobody, mostly.
  plant::SegmentObserver* onlooker() {
    const int who = draw_.whole(0, 5);
    return who == 0 ? &shown_steps_ : who == 1 ? &tallying_ : nullptr;
  }
  std::int64_t between(std::int64_t from_ps, std::int64_t to_ps) {
    return from_ps + static_cast<std::int64_t>(draw_.unit() * static_cast<double>(to_ps - from_ps));
  }

  const Bench& bench_;
  Manner manner_;
  Draw draw_;
  plant::Drive drive_, twin_;
  Onlooker shown_steps_{false}, tallying_{true};
  std::int64_t quiet_ps_ = -1;  // promised: no edge before
  Shown shown_;
};

void Caller::note(const plant::Drive::Stop& stop) {
  if (!stop.edge) return;
  if (now_ps() < quiet_ps_) ++shown_.breaches;
  const double omega_e = drive_.state().omega_m_rad_s * drive_.parameters().pole_pairs();
  shown_.edges.push_back(
      {.at_ps = now_ps(), .line = stop.what.line, .high = stop.what.high, .omega_e = omega_e});
}

void Caller::go(std::int64_t to_ps) {
  if (manner_ == Manner::restless && draw_.chance(0.3)) stroll(to_ps);
  plant::SegmentObserver* const shown_to = manner_ == Manner::restless ? onlooker() : nullptr;
  for (plant::Drive::Stop stop{true, {}}; stop.edge;) {
    stop = drive_.advance(to_ps, shown_to);
    note(stop);
  }
}

/// Looks, and perhaps goes on the one way or another; never beyond to_ps.
void Caller::stroll(std::int64_t to_ps) {
  for (int n = draw_.whole(1, 3); n > 0 && now_ps() < to_ps; --n) switch (draw_.whole(0, 6)) {
      case 0:
        look_ahead(to_ps);
        break;
      case 1:
        quiet_ps_ = drive_.quiet_until(to_ps);
        break;
      case 2:  // a copy goes on
        twin_.restore(drive_.state());
        std::swap(drive_, twin_);
        break;
      case 3: {
        const plant::DriveState before = drive_.state();
        drive_.turn_ahead(draw_.linear(0.0, 2e-3));
        for (int c = 0; c < channel_count; ++c)
          drive_.sense_V(static_cast<plant::SensorChannel>(c));
        drive_.restore(before);
        break;
      }
      case 4: {
        const std::int64_t until = between(now_ps(), to_ps);
        for (plant::Drive::Stop stop{true, {}}; stop.edge;) {
          stop = drive_.follow(until);
          note(stop);
        }
        break;
      }
      default:
        note(drive_.advance(between(now_ps(), to_ps), onlooker()));
    }
}

/// Further than will be gone before the next change, and back.
void Caller::look_ahead(std::int64_t to_ps) {
  const plant::DriveState before = drive_.state();
  const std::int64_t until = to_ps + ps(draw_.linear(0.0, 50e-6));
  for (int n = draw_.whole(1, 4); n > 0; --n) drive_.advance(until);
  if (draw_.chance(0.3)) drive_.set_switch(static_cast<Switch>(draw_.whole(0, 5)), true);
  drive_.advance(until);
  drive_.restore(before);
}

void Caller::happen(const Happening& h) {
  using Kind = Happening::Kind;
  switch (h.kind) {
    case Kind::hall_shift:
      return drive_.set_hall_shift_rad(static_cast<plant::Leg>(h.which), h.value);
    case Kind::hall_carrier:
      return drive_.set_hall_carrier_rad(h.value);
    case Kind::encoder_dirt:
      return drive_.set_encoder_dirty_share(h.value);
    case Kind::encoder_slip:
      return drive_.slip_encoder(h.which);
    case Kind::sin_cos_shift:
      return drive_.set_sin_cos_shift_rad(h.which, h.value);
    case Kind::angle_stuck:
      return drive_.set_angle_stuck(h.on);
    case Kind::angle_error:
      return drive_.set_angle_error(h.on);
    case Kind::angle_bits:
      return drive_.set_angle_bit_errors(h.on ? 1.0 : 0.0);
    case Kind::angle_clock:
      return drive_.set_angle_clock(h.on);
    case Kind::angle_selected:
      return drive_.set_angle_selected(h.on);
    case Kind::body:
      return drive_.set_temperature_C(static_cast<plant::TemperatureNode>(h.which), h.value);
    case Kind::ambient:
      return drive_.set_ambient_K(h.value);
    case Kind::held_ramp:
      return drive_.hold_speed_rad_s({h.value, h.rate});
  }
}

void Caller::make(const Moment& m) {
  quiet_ps_ = m.what == Moment::What::gate ? quiet_ps_ : -1;
  switch (m.what) {
    case Moment::What::gate: {
      const GateEdge& edge = bench_.drive.edges[m.index];
      return drive_.set_switch(edge.gate, edge.on);
    }
    case Moment::What::change:
      return reference::make(bench_.drive.changes[m.index], drive_);
    case Moment::What::happening:
      return happen(bench_.happenings[m.index]);
    case Moment::What::reading:
      return read();
  }
}

void Caller::read() {
  constexpr double zero_C_K = 273.15;
  Reading r{.at_ps = now_ps()};
  for (int c = 0; c < channel_count; ++c)
    r.volts[static_cast<std::size_t>(c)] = drive_.sense_V(static_cast<plant::SensorChannel>(c));
  std::copy_n(drive_.state().temperature_C, plant::temperature_node_count, r.temperature_C.begin());
  r.housing_C = drive_.state().warming.bodies.at(plant::HeatNode::housing) - zero_C_K;
  const plant::Snapshot s = drive_.snapshot();
  r.line_A = {s.current_A.U, s.current_A.V, s.current_A.W};
  r.bus_V = s.bus_V;
  for (std::size_t k = 0; k < 3; ++k)
    shown_.most_phase_A[k] = std::max(shown_.most_phase_A[k], std::abs(r.line_A[k]));
  shown_.most_dc_link_A = std::max(shown_.most_dc_link_A, std::abs(s.bridge_A));
  shown_.readings.push_back(r);
}

Shown Caller::ask(const std::vector<Moment>& all) {
  for (std::size_t n = 0; n < all.size();) {
    std::vector<plant::GateChange> ahead;
    if (manner_ == Manner::playing)
      for (std::size_t k = n; k < all.size() && all[k].what == Moment::What::gate; ++k) {
        const GateEdge& edge = bench_.drive.edges[all[k].index];
        ahead.push_back({edge.at_ps, edge.gate, edge.on});
      }
    if (ahead.size() < 2) {
      go(all[n].at_ps);
      shown_.levels.push_back(drive_.state().sensor_levels);
      make(all[n++]);
      continue;
    }
    // Levels between them are then nobody's to see.
    n += ahead.size();
    shown_.levels.resize(n, unseen);
    for (std::size_t next = 0; next < ahead.size();) {
      const plant::Drive::Played done =
          drive_.play({ahead.data() + next, ahead.size() - next}, ahead.back().at_ps);
      note(done.stop);
      next += done.played;
    }
  }
  for (const plant::Drive* each : {&drive_, &twin_}) {
    const plant::Drive::Health health = each->health();
    shown_.accidents += static_cast<long>(health.forced_steps + health.inconsistent_modes);
  }
  return shown_;
}

}  // namespace

Shown ask_plant(const Bench& bench, const std::vector<Moment>& all, Manner manner,
                std::uint64_t seed) {
  return Caller(bench, manner, seed).ask(all);
}

}  // namespace stillrotor::reference
