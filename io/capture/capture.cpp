#include "io/capture/capture.hpp"

#include <algorithm>

#include "io/capture/line_stream.hpp"

namespace stillrotor::io {
namespace {

/// PWM frequency from the median time between rising edges of one gate: a six-step gate rests for
/// most of a turn, and the median does not mind.
class PwmClock {
 public:
  void see(const Edge& edge) {
    if (!is_gate(edge.line) || edge.level != Level::high) return;
    Time& last = last_[index(edge.line)];
    if (last >= Time{} && intervals_.size() < enough)
      intervals_.push_back((edge.at - last).count());
    last = edge.at;
  }
  double frequency_Hz() {
    if (intervals_.size() < 8) return 0.0;
    const auto middle = intervals_.begin() + static_cast<std::ptrdiff_t>(intervals_.size() / 2);
    std::nth_element(intervals_.begin(), middle, intervals_.end());
    return *middle > 0 ? 1e12 / static_cast<double>(*middle) : 0.0;
  }

 private:
  static constexpr std::size_t enough = 4096;
  std::array<Time, gate_count> last_ = {Time{-1}, Time{-1}, Time{-1}, Time{-1}, Time{-1}, Time{-1}};
  std::vector<std::int64_t> intervals_;
};

CaptureSurvey take_survey(const CaptureConfig& config) {
  LineStream stream(config);
  CaptureSurvey survey;
  PwmClock pwm;
  for (Edge edge; stream.next(edge);) {
    if (edge.at > Time{}) ++survey.edges[index(edge.line)];
    pwm.see(edge);
  }
  survey.file = config.file;
  survey.resolution_s = stream.tick_s();
  survey.length_s = static_cast<double>(stream.length().count()) * 1e-12;
  survey.unknown_values = stream.unknown_values();
  survey.pwm_frequency_Hz = pwm.frequency_Hz();
  return survey;
}

}  // namespace

struct CaptureReplay::Impl {
  explicit Impl(const CaptureConfig& c) : config(c), survey(take_survey(c)), stream(c) { fetch(); }

  // Only gates are of interest here. The file was checked from end to end, so an error now means
  // that it has changed since.
  void fetch() {
    do {
      has_next = stream.next(next);
    } while (has_next && !is_gate(next.line));
  }
  void step_to_next() noexcept {
    now = std::max(now, next.at);
    recorded[index(next.line)] = next.level;
    try {
      fetch();
    } catch (const std::exception& error) {
      has_next = false;
      stop(Health::crashed,
           std::string("the recording changed while it was replayed: ") + error.what());
    }
  }
  void stop(Health how, std::string why) {
    state = how;
    reason = std::move(why);
    recorded.fill(Level::released);
  }
  /// Drives the first gate that is not as it should be; false: all are.
  bool drive_one() noexcept {
    for (std::size_t k = 0; k < gate_count; ++k) {
      const Level wanted = powered ? recorded[k] : Level::released;
      if (driven[k] == wanted) continue;
      driven[k] = wanted;
      world->drive({now, LineId{static_cast<std::uint16_t>(k)}, wanted});
      return true;
    }
    return false;
  }

  CaptureConfig config;
  CaptureSurvey survey;
  LineStream stream;
  Edge next;
  bool has_next = false;
  World* world = nullptr;
  bool powered = false;
  Time now{};
  std::array<Level, gate_count> recorded = released(), driven = released();
  Health state = Health::running;
  std::string reason;

  static constexpr std::array<Level, gate_count> released() {
    std::array<Level, gate_count> all{};
    all.fill(Level::released);
    return all;
  }
};

CaptureReplay::CaptureReplay(const CaptureConfig& config) : impl_(std::make_unique<Impl>(config)) {}
CaptureReplay::~CaptureReplay() = default;

void CaptureReplay::power(double volts, Time at, World& world) {
  impl_->world = &world;
  // Nobody need have called run() before: what was recorded up to now has passed unseen.
  while (impl_->has_next && impl_->next.at <= at) impl_->step_to_next();
  impl_->now = std::max(impl_->now, at);
  impl_->powered = volts > 0.0;
  // Gates that rise with the power come from run(), one at a time like all others.
  if (!impl_->powered)
    while (impl_->drive_one()) {
    }
}

Time CaptureReplay::run(Time horizon) noexcept {
  Impl& replay = *impl_;
  for (;;) {
    if (replay.world && replay.drive_one()) return replay.now;
    if (replay.state != Health::running) return replay.now = std::max(replay.now, horizon);
    if (replay.has_next) {
      if (replay.next.at > horizon) return replay.now = std::max(replay.now, horizon);
      replay.step_to_next();
    } else {
      const Time end = replay.stream.length();
      if (end > horizon) return replay.now = std::max(replay.now, horizon);
      replay.now = std::max(replay.now, end);
      replay.stop(Health::exited, "the recording has come to its end");
    }
  }
}

Health CaptureReplay::health() const noexcept { return impl_->state; }
std::string_view CaptureReplay::diagnosis() const noexcept { return impl_->reason; }
const CaptureSurvey& CaptureReplay::survey() const noexcept { return impl_->survey; }
RecordedMotion CaptureReplay::motion(const CapturedMachine& machine) const {
  return recorded_motion(impl_->config, machine);
}

std::unique_ptr<SimulatedController> make_capture(const CaptureConfig& config) {
  return std::make_unique<CaptureReplay>(config);
}

}  // namespace stillrotor::io
