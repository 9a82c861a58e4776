// The bench as one controller sees it: plant, wiring and scenario, moved forward together.
// The scheduler (virtual_run.cpp) decides how far; a controller's own read or edge moves it to
// exactly that moment.
// Time  ps since the start of the run; never decreases. A gate edge that a controller reports
//       late (an instruction that began before the present) acts at the present and is counted.
// Ties  at one instant: scenario and wire faults, gates, sensors, then by LineId.
#pragma once

#include <algorithm>
#include <array>
#include <cstdint>
#include <optional>
#include <span>
#include <vector>

#include "emulator/bench/bench.hpp"
#include "emulator/faults/fault_site.hpp"
#include "emulator/handover/edge_gatherer.hpp"
#include "emulator/handover/frame.hpp"
#include "emulator/handover/sampler.hpp"
#include "emulator/live/live_control.hpp"
#include "emulator/scenario/scenario.hpp"
#include "emulator/virtual_time/analog_wiring.hpp"
#include "emulator/virtual_time/conditions.hpp"
#include "emulator/virtual_time/flickering_faults.hpp"
#include "emulator/virtual_time/foresight.hpp"
#include "emulator/virtual_time/given_motion.hpp"
#include "emulator/virtual_time/moving_faults.hpp"
#include "emulator/virtual_time/odometer.hpp"
#include "emulator/virtual_time/present_faults.hpp"
#include "emulator/virtual_time/pulse_sender.hpp"
#include "emulator/virtual_time/ramped_input.hpp"
#include "emulator/virtual_time/supply_news.hpp"
#include "emulator/virtual_time/timeline.hpp"
#include "emulator/virtual_time/wiring.hpp"

namespace stillrotor {

class BenchWorld final : public io::World {
 public:
  /// Stands at time 0, the actions of time 0 not yet done. Throws std::invalid_argument (plant).
  BenchWorld(const Bench&, const Scenario&, GivenMotion, RunSink&);

  // What the controller may do.
  void drive(const io::Edge&) noexcept override;
  std::size_t drive_ahead(std::span<const io::Edge>) noexcept override;
  bool pass(const io::Edge&) noexcept override;
  std::span<const io::Edge> heard(io::Time) noexcept override;
  double volts(io::ChannelId, io::Time) noexcept override;
  io::Level level(io::LineId, io::Time) noexcept override;
  /// Exact to 1 ps where the plant's voltages are smooth; where they jump, at the jump. Of a noisy
  /// channel, one of its crossings.
  std::optional<io::Time> crossing(const io::Comparison&, bool was_true, io::Time from,
                                   io::Time to) noexcept override;
  void text(io::Time, std::string_view) noexcept override;

  // How the scheduler moves it.
  /// Key as the scenario has it at the start, and everything that is due at time 0.
  void begin() noexcept;
  std::int64_t now_ps() const noexcept {
    return waiting_count_ > 0 ? waiting_[waiting_count_ - 1].at_ps : foresight_.now_ps();
  }
  std::int64_t next_event_ps() const noexcept { return timeline_.next_ps(); }
  /// Takes in what a person does, if its time is bound_ps or later: up to then all may be decided
  /// already, and a run that knew of it from the start might have decided otherwise.
  void attend(LiveControl&, std::int64_t bound_ps) noexcept;
  /// Of what a person has done and is not due yet, the last; never_ps: there is none.
  std::int64_t last_driven_ps() const noexcept { return timeline_.last_driven_ps(); }
  /// The run ends there, which is no earlier than bound_ps above: what waits for something is
  /// watched no longer.
  void end_at(std::int64_t end_ps) noexcept {
    conditions_.end_at(end_ps);
    timeline_.wake_at(conditions_.next_ps(now_ps()));
    wait_before_ps_ = std::min(wait_before_ps_, timeline_.next_ps());
  }
  /// Everything up to the present is with the sink, for whoever looks while nothing moves.
  void show() noexcept {
    catch_up();
    sink_.pass_on();
  }
  /// Edges of these lines, bit k: LineId k, wait until the controller asks for them by heard(), or
  /// for the turn's end. Those that waited so far and do not now have been asked for.
  void let_wait(std::uint32_t lines) noexcept {
    if (waiting_lines_ & ~lines)
      quiet_ps_ = std::min(quiet_ps_, now_ps());  // promised without them
    waiting_lines_ = lines;
  }
  /// No sensor edge that the controller hears at once can come before this, whatever the gates do.
  std::int64_t quiet_ps() const noexcept { return quiet_ps_; }
  void find_quiet(std::int64_t limit_ps) noexcept;
  /// Whether the rotor brings a sensor edge by then if it goes on as it does. No promise, but a
  /// fraction of what one costs.
  bool edge_expected_by(std::int64_t t_ps) const noexcept;
  /// Moves on for good; sensor edges and scenario events on the way happen.
  void advance(std::int64_t t_ps) noexcept;
  /// Looks ahead to the first sensor edge, at most to limit_ps (no scenario event lies before it).
  std::int64_t look(std::int64_t limit_ps) noexcept {
    catch_up();
    return foresight_.look(limit_ps);
  }
  /// Moves on by whole steps of the plant only, so that looking in leaves no trace in the
  /// trajectory; to an event of the scenario exactly.
  void follow(std::int64_t t_ps) noexcept;
  /// The look ahead, if nothing has touched it, becomes the present: to its edge, or by whole steps
  /// where it found none. Returns whether.
  bool keep_look() noexcept;
  /// Gates that have waited are now with the plant: plant() and what it has been recorded of.
  void catch_up() noexcept {
    if (waiting_count_ > 0) play_waiting(0);
  }

  // What the scheduler carries to the controller.
  bool has_mail() const noexcept { return !arrivals_.empty() || power_request_.has_value(); }
  /// Controller supply that the scenario has switched since last asked [V].
  std::optional<double> take_power_request() noexcept;
  /// Edges at the controller's pins since last asked, in order; valid until the next call of
  /// anything here.
  std::vector<io::Edge>& take_arrivals() noexcept;

  /// Phase currents that were measured elsewhere take the place of the plant's, at the present
  /// (plant/drive.hpp).
  void adopt_currents(const plant::Phases& measured_A, double none_below_A) noexcept;

  /// Nobody drives the controller's lines any more.
  void release_gates(std::int64_t t_ps) noexcept;
  void event(std::int64_t t_ps, std::string_view name, std::string_view detail) noexcept;
  /// Events that only time can tell ("all gates off" for a while).
  void announce() noexcept {
    announced_ps_ = foresight_.now_ps();
    if (!gates_rest_ && gates_ == 0) announce_rest();
    const plant::DriveState& s = plant_.state();
    if (s.machine.magnet_left < magnets_told_ || (s.outside_map_s > 0.0 && !map_told_))
      announce_machine();
  }

  /// What a lead of the outputs may change, at the controller's pins.
  struct Pins {
    std::array<io::Level, io::line_count> levels{};
    std::array<double, io::channel_count> volts{};
  };
  /// Takes the place of what `pins` says of Halls, encoder, sine and cosine, terminals' voltages:
  /// as they will be in lead_s if the rotor goes on as it does. No look ahead is open.
  void predict(double lead_s, Pins& pins) noexcept;

  /// The same for what the driver's hands do, key, brake, reverse and throttle: as the scenario
  /// will have them at t_ps, not before the present. Returns whether the controller is supplied
  /// then.
  bool foretell_driver(std::int64_t t_ps, Pins& pins) const noexcept;

  const Frame& latest_frame() const noexcept { return sampler_.latest(); }
  /// Stands at now_ps() after anything but drive(); then, after catch_up().
  const plant::Drive& plant() const noexcept { return plant_; }
  const Wiring& wiring() const noexcept { return wiring_; }
  std::uint64_t gate_edges() const noexcept { return gate_edges_; }
  std::uint64_t sensor_edges() const noexcept { return sensor_edges_; }
  std::uint64_t late_gate_edges() const noexcept { return late_gate_edges_; }
  /// RecordHeader::initial_lines_high of this moment.
  std::array<std::uint8_t, io::line_bytes> lines_high() const noexcept;

 private:
  class Site;
  enum class Cause : std::uint8_t { scenario, sensor };
  struct Arrival {
    io::Edge edge;
    Cause cause = Cause::scenario;
    bool recorded = false;
  };

  double present_V(io::ChannelId) const noexcept;
  double pin_V(io::ChannelId, std::int64_t t_ps) const noexcept;
  void close_key_contact(bool closed) noexcept;
  void at_pins(Sampler::Pins&, std::int64_t t_ps) const noexcept;
  double present_V(const io::Potential& p) const noexcept {
    return p.channel ? present_V(*p.channel) : p.volts;
  }
  void announce_rest() noexcept;
  void announce_machine() noexcept;
  /// What the plant has come to.
  void absorb(const plant::Drive::Stop& stop) noexcept {
    if (stop.edge || supply_news_.possible() || now_ps() >= timeline_.next_ps()) heed(stop);
  }
  void heed(const plant::Drive::Stop&) noexcept;
  void do_due_actions() noexcept;
  void watch_conditions() noexcept;
  void act(const Action&) noexcept;
  void act_fault(const Action&) noexcept;
  void switch_fault(const Action&, bool present) noexcept;
  void follow_faults() noexcept;
  void follow_temperatures() noexcept;
  void follow_surface() noexcept;
  double held(const RampedInput&) noexcept;
  void set_line_fault(io::LineId, const LineFault&) noexcept;
  void set_line(io::LineId source, bool on, Cause = Cause::scenario) noexcept;
  void follow_ramps() noexcept;
  void follow_given_speed() noexcept;
  void follow_command_pulse() noexcept;
  void arrive(io::LineId, Cause) noexcept;
  void record_arrivals(std::int64_t up_to_ps, Cause up_to) noexcept;
  std::int64_t wait_before_ps() const noexcept;
  bool leave_waiting(const io::Edge&) noexcept;
  bool play_waiting(std::int64_t until_ps) noexcept;
  void record_gates(std::span<const plant::GateChange>) noexcept;
  /// What was promised before knew nothing of what has just been changed.
  void promise_nothing() noexcept {
    quiet_ps_ = now_ps();
    edgeless_ps_ = 0;
  }
  void go_to(std::int64_t t_ps) noexcept;
  plant::Drive::Edges promised_edges() const noexcept;
  void drive_now(const io::Edge&) noexcept;
  void set_gate(io::LineId, bool on, std::int64_t t_ps) noexcept;
  void set_switch(io::LineId gate) noexcept;  // as its wire brings it
  bool is_driven(io::LineId) const noexcept;  // by the controller, to its active level
  void set_input(io::LineId, bool on, std::int64_t t_ps) noexcept;

  const Bench& bench_;
  EdgeGatherer sink_;
  Wiring wiring_;
  AnalogWiring analog_;
  Timeline timeline_;
  MovingFaults moving_faults_;
  Conditions conditions_;
  PresentFaults present_faults_;
  FlickeringFaults flickering_faults_;
  Odometer odometer_;
  bool counts_distance_;
  const Road& road_;
  RampedInput throttle_V_, load_torque_Nm_{0.0}, slope_{0.0}, supply_V_, wind_m_s_{0.0},
      pedal_Nm_{0.0}, held_speed_rad_s_, rolling_{1.0}, grip_{1.0}, ambient_K_;
  double controller_supply_V_;  // while the key is on
  std::array<RampedInput, plant::temperature_node_count> temperature_K_;
  std::uint8_t warmed_ = 0;  // bit k: the scenario moves the temperature of body k
  PulseSender pulse_;
  GivenMotion motion_;
  std::size_t next_speed_ = 0;
  plant::Drive plant_;
  Sampler sampler_;
  Foresight foresight_;
  SupplyNews supply_news_;
  static constexpr std::int64_t asked_again_within_ps = 20'000'000;
  std::int64_t edgeless_ps_ =
      0;  // until then no sensor has an edge; of those that heard() asks for
  std::int64_t quiet_ps_ = 0;
  plant::Drive::Edges quiet_edges_ = plant::Drive::Edges::all;  // of which that is promised
  std::uint32_t waiting_lines_ = 0;
  // Gates that nobody has looked behind yet: the plant goes through all of them at once.
  std::array<plant::GateChange, 64> waiting_;
  std::size_t waiting_count_ = 0;
  std::int64_t wait_before_ps_ = 0;  // while some do: the next one, too, if it comes before
  bool gates_may_wait_;
  double pole_pairs_;

  std::vector<Arrival> arrivals_;
  std::vector<io::Edge> outbox_;
  std::optional<double> power_request_;

  std::uint8_t gates_ = 0;          // as the controller drives them: bit k is line k
  std::uint8_t driver_inputs_ = 0;  // as they arrive
  std::uint8_t shoot_through_told_ = 0;
  std::int64_t gates_off_since_ps_ = 0;
  std::int64_t announced_ps_ = -1;  // where the plant stood then
  double magnets_told_ = 1.0;       // below this share of the magnets' flux there is news
  bool map_told_ = false;           // that the currents have left the machine's flux map
  bool gates_rest_ = true;          // "all gates off" has been said, or holds since the start
  std::uint64_t gate_edges_ = 0, sensor_edges_ = 0, late_gate_edges_ = 0;
};

}  // namespace stillrotor
