#include "emulator/gate_quality/gate_path.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

namespace stillrotor {
namespace {

io::Time time(double s) { return io::Time{std::llround(s * 1e12)}; }
double us(io::Time t) { return 1e-6 * static_cast<double>(t.count()); }

GateCleaning cleaning(const Bench& bench) {
  const GateSettings& settings = bench.cycle.gates;
  GateCleaning cleaning;
  for (std::size_t k = 0; k < settings.skew_s.size(); ++k)
    cleaning.skew[k] = time(settings.skew_s[k]);
  if (settings.overlap_tolerance_s <= 0.0) return cleaning;
  const double dead_s = bench.expects.dead_time_s;
  if (!(dead_s > 0.0) || dead_s > 10e-6)
    throw io::ConfigError(
        "controller.expects.dead_time",
        fmt::format("the dead time is {}; allowed above 0 us, up to 10 us with "
                    "cycle.gates.overlap_tolerance, whose repair puts it back. State it, or set "
                    "the tolerance to 0 us.",
                    dead_s > 0.0 ? fmt::format("{:g} us", 1e6 * dead_s) : "not stated"));
  cleaning.impossible = time(settings.overlap_tolerance_s);
  cleaning.dead_time = time(dead_s);
  return cleaning;
}

std::optional<io::Time> averaged_over(const Bench& bench) {
  const bool filtered = bench.cycle.gates.filtered.has_value();
  if (!bench.cycle.gates.averaged && !filtered) return std::nullopt;
  const double pwm_Hz = bench.expects.pwm_frequency_Hz;
  if (!(pwm_Hz >= 100.0))
    throw io::ConfigError(
        "controller.expects.pwm_frequency",
        fmt::format("the PWM frequency is {}; allowed 100 Hz to 1 MHz with {}. State it{}.",
                    pwm_Hz > 0.0 ? fmt::format("{:g} Hz", pwm_Hz) : "not stated",
                    filtered ? "filtered gates, whose averages are told as pulses of its period"
                             : "cycle.gates.averaged, which averages over its period",
                    filtered ? "" : ", or switch averaging off"));
  return time(1.0 / pwm_Hz);
}

}  // namespace

GateTreatment gate_treatment(const Bench& bench) {
  GateTreatment treatment{cleaning(bench), averaged_over(bench), {}, {}};
  treatment.hold = GateCleaner(treatment.cleaning).hold();
  // An average says what it has to say at once; a period's edges when the period is over.
  if (const auto& filtered = bench.cycle.gates.filtered)
    treatment.filter_s = filtered->filter_s;
  else
    treatment.hold += treatment.averaged_over.value_or(io::Time{0});
  const io::Time delay = time(bench.cycle.delay_s);
  if (treatment.hold > delay)
    throw io::ConfigError(
        "cycle.delay",
        fmt::format("delay is {:g} us; allowed with these cycle.gates: {:g} us (for so long edges "
                    "are held back) and what an edge takes from its wire to the cycle, up to 100 "
                    "ms. Give it more{}.",
                    us(delay), us(treatment.hold),
                    treatment.averaged_over
                        ? ", or switch cycle.gates.averaged off"
                        : ", or make cycle.gates.overlap_tolerance or the lines' skew smaller"));
  return treatment;
}

GatePath::GatePath(const GateTreatment& treatment)
    : cleaner_(treatment.cleaning), filter_s_(treatment.filter_s), hold_(treatment.hold) {
  if (!treatment.averaged_over) return;
  averaged_.emplace(*treatment.averaged_over);
  averaged_text_ = filter_s_ ? averaged_->text(*filter_s_) : averaged_->text();
}

void GatePath::take(std::span<const io::Edge> edges, io::Time known_to,
                    const GateShares* filtered) noexcept {
  std::move(edges_.begin() + ready_count_, edges_.begin() + edge_count_, edges_.begin());
  edge_count_ -= ready_count_;
  cleaner_.take(edges, known_to);
  for (const io::Edge& edge : cleaner_.ready()) pwm_.edge(edge);
  if (averaged_ && filtered != nullptr) {
    averaged_->take(*filtered, known_to);
    append(averaged_->ready());
    append(cleaner_.ready());
    sort();
  } else if (averaged_) {
    averaged_->take(cleaner_.ready(), cleaner_.settled());
    append(averaged_->ready());
  } else {
    append(cleaner_.ready());
  }
  settled_ = std::max(settled_, known_to - hold_);
  ready_count_ = 0;
  while (ready_count_ < edge_count_ && edges_[ready_count_].at <= settled_) ++ready_count_;
}

void GatePath::append(std::span<const io::Edge> more) noexcept {
  const std::size_t room = std::min(more.size(), edges_.size() - edge_count_);
  std::copy_n(more.begin(), room, edges_.begin() + edge_count_);
  edge_count_ += room;
  dropped_ += more.size() - room;
}

/// Pulses of a period that has begun lie ahead of the other lines' edges. Few, and no memory to be
/// asked for.
void GatePath::sort() noexcept {
  for (std::size_t k = 1; k < edge_count_; ++k)
    for (std::size_t j = k; j > 0 && edges_[j].at < edges_[j - 1].at; --j)
      std::swap(edges_[j], edges_[j - 1]);
}

GateReport GatePath::report() const noexcept {
  return {.averaged = averaged_.has_value(),
          .filter_s = filter_s_,
          .hold = hold_,
          .cleaning = cleaner_.counts(),
          .dropped = dropped(),
          .legs = {pwm_.leg(0), pwm_.leg(1), pwm_.leg(2)},
          .jitter_s = pwm_.jitter_s()};
}

}  // namespace stillrotor
