// Where faults reach into the bench, and when they come and go.
#include "emulator/virtual_time/world.hpp"
#include "plant/sensors/noise.hpp"

namespace stillrotor {

using io::LineId;

/// Where a fault reaches in.
class BenchWorld::Site final : public FaultSite {
 public:
  explicit Site(BenchWorld& world) noexcept : world_(world) {}
  std::int64_t now_ps() const noexcept override { return world_.now_ps(); }
  const Bench& bench() const noexcept override { return world_.bench_; }
  plant::Drive& plant() noexcept override { return world_.plant_; }
  LineFault line(LineId line) const noexcept override { return world_.wiring_.fault(line); }
  void set_line(LineId line, const LineFault& fault) noexcept override {
    world_.set_line_fault(line, fault);
  }
  ChannelFault channel(io::ChannelId channel) const noexcept override {
    return world_.analog_.fault(channel);
  }
  void set_channel(io::ChannelId channel, const ChannelFault& fault) noexcept override {
    world_.analog_.set_fault(channel, fault);
  }
  double pin_V(io::ChannelId channel) const noexcept override {
    return world_.pin_V(channel, now_ps());
  }
  bool key_on() const noexcept override { return world_.wiring_.is_on(io::line::key); }
  void set_key_contact(bool closed) noexcept override { world_.close_key_contact(closed); }
  void set_controller_supply_V(double volts) noexcept override {
    world_.controller_supply_V_ = volts;
    if (key_on() || bench().controller_stays_supplied) world_.power_request_ = volts;
  }
  double share(LineId line, std::int64_t number) const noexcept override {
    const std::uint64_t seed = plant::mixed(world_.plant_.parameters().seed + io::index(line));
    return plant::unit_share(plant::noise_bits(seed, plant::NoiseOf::line_fault, number));
  }

 private:
  BenchWorld& world_;
};

void BenchWorld::act_fault(const Action& action) noexcept {
  const bool broken = !action.cleared;
  if (!present_faults_.change(action))
    return event(now_ps(), broken ? "fault present already" : "fault absent already", action.label);
  const bool gone = !broken && flickering_faults_.end(action);
  sink_.mark(broken ? MarkKind::fault : MarkKind::action, now_ps(), action.mark, action.which);
  if (!gone) switch_fault(action, broken);
  if (broken) flickering_faults_.begin(action, now_ps());
  conditions_.happened(action.mark, now_ps());
}

void BenchWorld::switch_fault(const Action& action, bool present) noexcept {
  Site site(*this);
  (present ? action.fault->begin : action.fault->end)(site, action.settings);
  if (present)
    moving_faults_.begin(action, now_ps());
  else
    moving_faults_.end(action);
}

void BenchWorld::follow_faults() noexcept {
  const std::int64_t now = now_ps();
  timeline_.wake_at(flickering_faults_.follow(
      now, [this](const Action& action, bool present) { switch_fault(action, present); },
      [&](const Action& action) {
        present_faults_.forget(action);
        sink_.mark(MarkKind::action, now, action.end_mark, action.which);
        conditions_.happened(action.end_mark, now);
      }));
  if (!moving_faults_.any()) return;
  Site site(*this);
  timeline_.wake_at(moving_faults_.follow(site));
}

void BenchWorld::set_line_fault(LineId line, const LineFault& fault) noexcept {
  const bool changes = wiring_.set_fault(line, fault);
  if (io::is_gate(line))
    set_switch(line);
  else if (changes && !io::from_controller(line))
    arrive(line, Cause::scenario);
}

}  // namespace stillrotor
