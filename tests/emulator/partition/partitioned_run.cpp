#include "tests/emulator/partition/partitioned_run.hpp"

#include <algorithm>
#include <cmath>
#include <deque>
#include <memory>
#include <random>
#include <stdexcept>
#include <utility>

#include "emulator/virtual_time/world.hpp"
#include "io/captured_edges.hpp"
#include "io/link/port/simulated_chip.hpp"
#include "io/link/session.hpp"

namespace stillrotor::test {
namespace {

constexpr std::int64_t us = 1'000, ms = 1'000 * us, begin_ns = 5'000'000 * ms;

/// One direction; frames keep their order.
class Way {
 public:
  Way(std::uint32_t seed, std::int64_t least_ns, std::int64_t jitter_ns)
      : random_(seed), least_ns_(least_ns), jitter_ns_(jitter_ns) {}
  void put(std::span<const std::uint8_t> frame, std::int64_t now_ns) {
    const auto more = static_cast<std::int64_t>(random_() % static_cast<std::uint32_t>(jitter_ns_));
    last_ns_ = std::max(last_ns_, now_ns + least_ns_ + more);
    under_way_.push_back({last_ns_, {frame.begin(), frame.end()}});
  }
  template <class F>
  void arrive(std::int64_t now_ns, F&& take) {
    for (; !under_way_.empty() && under_way_.front().at_ns <= now_ns; under_way_.pop_front())
      take(under_way_.front().bytes, under_way_.front().at_ns);
  }

 private:
  struct Frame {
    std::int64_t at_ns;
    std::vector<std::uint8_t> bytes;
  };
  std::mt19937 random_;
  std::int64_t least_ns_, jitter_ns_, last_ns_ = 0;
  std::deque<Frame> under_way_;
};

io::LinkConfig chip_config(const Bench& bench, double step_s) {
  io::LinkConfig c;
  c.step_s = step_s;
  c.current_range_A = c.voltage_range_V = 0.0;
  int number = 0;
  for (const io::ChannelId id : fast_channels(bench)) c.channels[io::index(id)] = number++;
  return c;
}

io::ChipSettings chip_settings(const Bench& bench, const io::LinkConfig& config,
                               const io::LinkSettings& link) {
  io::ChipSettings s;
  s.tick_Hz = static_cast<std::uint32_t>(std::lround(config.tick_Hz));
  const double per_code = config.converter_V / std::ldexp(1.0, config.converter_bits);
  for (const io::ChannelId id : fast_channels(bench)) {
    const cp_sense_channel& c = link.parameters.sense[s.channels.size()];
    s.channels.push_back({id, per_code, static_cast<std::uint32_t>(c.offset)});
  }
  return s;
}

class Run final : private io::LinkSession::Wire {
 public:
  Run(const Bench& bench, const Scenario& scenario, io::SimulatedController& controller,
      RunSink& sink, const PartitionedOptions& options)
      : bench_(bench),
        scenario_(scenario),
        controller_(controller),
        options_(options),
        config_(chip_config(bench, options.step_s)),
        link_(link_settings(bench, config_, scenario.start.angle_rad)),
        chip_(controller, chip_settings(bench, config_, link_)),
        session_(std::make_unique<io::LinkSession>(link_, *captured_)),
        world_(bench, scenario, {}, sink),
        mirror_(bench, link_, world_),
        up_(1, options.way_ns, options.jitter_ns),
        down_(2, options.way_ns, options.jitter_ns) {}

  PartitionedOutcome go() {
    session_->connected(1, now_ns());
    run_for(options_.settle_ns);
    session_->want_live();
    run_for(100 * ms);
    if (!session_->status().live) throw std::runtime_error("the chip's outputs are not live");
    armed_ns_ = now_ns();
    captured_->arm(armed_ns_);
    mirror_.arm(armed_ns_);
    world_.begin();
    show_driver(0);
    while (world_.now_ps() < scenario_.lasts_ps) step();
    PartitionedOutcome out = std::move(outcome_);
    out.mirror = mirror_.report();
    out.link = session_->status();
    out.live = out.link.live;
    out.controller = controller_.health();
    out.gate_edges = world_.gate_edges();
    out.plant = world_.plant().health();
    return out;
  }

 private:
  std::int64_t now_ns() const {
    return begin_ns +
           std::llround(static_cast<double>(chip_.now().count()) * 1e-3 / (1.0 + options_.drift));
  }
  bool send(std::span<const std::uint8_t> frame) override {
    down_.put(frame, now_ns());
    return true;
  }
  void run_for(std::int64_t lasts_ns) {
    for (const std::int64_t until = now_ns() + lasts_ns; now_ns() < until;) step();
  }

  /// The chip's time of a moment.
  io::Time chip_time(std::int64_t ns) const {
    return io::Time(
        std::llround(static_cast<double>(ns - begin_ns) * 1e3 * (1.0 + options_.drift)));
  }
  void take_sent() {
    if (const std::vector<std::uint8_t> sent = chip_.take_sent(); !sent.empty())
      up_.put(sent, now_ns());
  }

  void step() {
    const std::int64_t now = now_ns() + 50 * us;
    if (armed_ns_ != 0) show_driver(1000 * (now_ns() - armed_ns_));
    down_.arrive(now, [&](const auto& frame, std::int64_t at_ns) {
      chip_.advance(chip_time(at_ns));
      chip_.hear(frame);
      take_sent();
    });
    chip_.advance(chip_time(now));
    take_sent();
    up_.arrive(now, [&](const auto& bytes, std::int64_t at_ns) { session_->take(bytes, at_ns); });
    if (now - cycle_ns_ < options_.period_ns) return;
    cycle_ns_ = now;
    session_->due(now, *this);
    for (io::LinkReport r; session_->next_report(r);) mirror_.take(r);
    if (armed_ns_ != 0) turn(now);
    io::Ahead ahead = mirror_.predict(now + options_.ahead_ns);
    if (options_.spoil && armed_ns_ != 0) options_.spoil(ahead);
    session_->ahead(ahead);
  }

  /// The driver's hands, at their own time, which the mirror has not come to yet.
  void show_driver(std::int64_t now_ps) {
    const bool key = world_.foretell_driver(now_ps, pins_);
    for (const io::LineId line : {io::line::key, io::line::brake, io::line::reverse})
      chip_.put(line, pins_.levels[io::index(line)]);
    chip_.put(io::channel::throttle, pins_.volts[io::index(io::channel::throttle)]);
    if (std::exchange(powered_, key) != key) chip_.power(key ? bench_.controller_supply_V : 0.0);
  }

  void turn(std::int64_t now) {
    batch_->clear();
    captured_->read(*batch_, now);
    for (std::size_t k = 0; k < batch_->edge_count; ++k) edges_.push_back(batch_->edges[k]);
    outcome_.gaps.insert(outcome_.gaps.end(), batch_->gaps.begin(),
                         batch_->gaps.begin() + static_cast<std::ptrdiff_t>(batch_->gap_count));
    const std::int64_t until_ps =
        std::min(1000 * (now - armed_ns_ - options_.behind_ns), scenario_.lasts_ps);
    for (; !edges_.empty() && edges_.front().at.count() <= until_ps; edges_.pop_front()) {
      const io::Edge& edge = edges_.front();
      if (options_.lose && options_.lose(edge)) continue;
      if (edge.at.count() < world_.now_ps()) ++outcome_.late_gate_edges;
      advance(edge.at.count());
      world_.drive(edge);
    }
    advance(until_ps);
  }

  void advance(std::int64_t until_ps) {
    while (world_.now_ps() < until_ps) {
      world_.advance(std::min({until_ps, world_.now_ps() + 50'000'000, mirror_.due_ps()}));
      world_.take_arrivals();
      if (world_.now_ps() != mirror_.due_ps()) continue;
      const Mirror::Correction done = mirror_.correct();
      if (done.distrust != nullptr) outcome_.distrusted.push_back(done);
    }
  }

  const Bench& bench_;
  const Scenario& scenario_;
  io::SimulatedController& controller_;
  const PartitionedOptions& options_;
  io::LinkConfig config_;
  io::LinkSettings link_;
  io::SimulatedChip chip_;
  std::unique_ptr<io::CapturedEdges> captured_ =
      std::make_unique<io::CapturedEdges>(io::GateWires::six, 0.0);
  std::unique_ptr<io::EdgeBatch> batch_ = std::make_unique<io::EdgeBatch>();
  std::unique_ptr<io::LinkSession> session_;
  BenchWorld world_;
  Mirror mirror_;
  BenchWorld::Pins pins_;
  bool powered_ = false;
  Way up_, down_;
  std::deque<io::Edge> edges_;
  std::int64_t armed_ns_ = 0, cycle_ns_ = 0;
  PartitionedOutcome outcome_;
};

}  // namespace

PartitionedOutcome run_partitioned(const Bench& bench, const Scenario& scenario,
                                   io::SimulatedController& controller, RunSink& sink,
                                   const PartitionedOptions& options) {
  return std::make_unique<Run>(bench, scenario, controller, sink, options)->go();
}

}  // namespace stillrotor::test
