#include "io/capture/motion.hpp"

#include <algorithm>
#include <cmath>
#include <optional>

#include "io/capture/line_stream.hpp"
#include "io/capture/motion_decode.hpp"

namespace stillrotor::io {
namespace {

constexpr double pi = 3.14159265358979324;
constexpr double limit_rad = 5.0 * pi / 180.0;
constexpr std::size_t anchor_limit = std::size_t{1} << 20;

double seconds(Time t) { return static_cast<double>(t.count()) * 1e-12; }
double wrapped(double angle) { return std::remainder(angle, 2.0 * pi); }

/// Where the angle is known: unwrapped, electrical.
struct Anchor {
  Time at{};
  double angle_rad = 0.0;
};

/// Collects anchors in bounded memory: when there are too many, every second one is forgotten. The
/// speed between those that remain is then a mean over longer, and its integral is still exact.
class Anchors {
 public:
  explicit Anchors(Time least_distance) : least_distance_(least_distance) {}
  void add(Time at, double angle_rad) {
    latest_ = {at, angle_rad};
    if (!kept_.empty() && at - kept_.back().at < least_distance_) return;
    if (!kept_.empty() && at == kept_.back().at) return;  // two at one tick: no speed between them
    kept_.push_back(latest_);
    if (kept_.size() < anchor_limit) return;
    for (std::size_t k = 1; 2 * k < kept_.size(); ++k) kept_[k] = kept_[2 * k];
    kept_.resize((kept_.size() + 1) / 2);
    least_distance_ = std::max(
        Time{1}, 2 * std::max(least_distance_,
                              (at - kept_.front().at) / static_cast<std::int64_t>(anchor_limit)));
  }
  std::vector<Anchor> take() {
    if (!kept_.empty() && latest_.at > kept_.back().at) kept_.push_back(latest_);
    return std::move(kept_);
  }

 private:
  std::vector<Anchor> kept_;
  Anchor latest_;
  Time least_distance_;
};

/// Fills speed and interpolation error. `reach_rad`: how far the machine can turn past an anchor
/// without giving another one.
void fill_speed(RecordedMotion& motion, const std::vector<Anchor>& anchors, Time end,
                double reach_rad) {
  if (anchors.size() < 2) return;
  const auto length = [&](std::size_t k) { return seconds(anchors[k + 1].at - anchors[k].at); };
  const auto turn = [&](std::size_t k) { return anchors[k + 1].angle_rad - anchors[k].angle_rad; };
  const std::size_t intervals = anchors.size() - 1;
  const auto speed = [&](std::size_t k) { return turn(k) / length(k); };

  // Before the first anchor and after the last one: the neighbour's speed, but never further than
  // the next sensor edge, which did not come.
  const auto beyond = [&](double neighbour, double time_s) {
    return time_s > 0.0 ? std::clamp(neighbour, -reach_rad / time_s, reach_rad / time_s)
                        : neighbour;
  };
  const double lead_s = seconds(anchors.front().at);
  const double lead = beyond(speed(0), lead_s);
  if (lead_s > 0.0) motion.speed.push_back({Time{}, lead});
  for (std::size_t k = 0; k < intervals; ++k) motion.speed.push_back({anchors[k].at, speed(k)});
  motion.speed.push_back(
      {anchors.back().at, beyond(speed(intervals - 1), seconds(end - anchors.back().at))});

  // A speed that changes evenly, by `slope` per second, bends the angle away from the chord by
  // slope t^2 / 8 in the middle of an interval of length t. Beyond the outermost anchor the mean
  // speed of an interval of length n is carried on, which is its speed n / 2 before: slope times
  // (t n / 2 + t^2 / 2).
  const auto slope = [&](std::size_t k) {  // between intervals k and k + 1
    return std::abs(speed(k + 1) - speed(k)) / (0.5 * (length(k) + length(k + 1)));
  };
  const auto note = [&](Time at, double error_rad) {
    motion.interpolation_error_rad = std::max(motion.interpolation_error_rad, error_rad);
    if (error_rad > limit_rad && motion.exceeds_limit_at < Time{}) motion.exceeds_limit_at = at;
  };
  if (intervals == 1) return note(Time{}, reach_rad);  // nothing tells how the speed changed
  const auto past = [&](double slope_here, double time_s, double neighbour_s) {
    return std::min(slope_here * time_s * (neighbour_s + time_s) / 2.0, reach_rad);
  };
  note(Time{}, past(slope(0), lead_s, length(0)));
  for (std::size_t k = 0; k < intervals; ++k) {
    double bend = 0.0;
    if (k > 0) bend = slope(k - 1);
    if (k + 1 < intervals) bend = std::max(bend, slope(k));
    note(anchors[k].at,
         std::min(bend * length(k) * length(k) / 8.0, std::max(std::abs(turn(k)), reach_rad)));
  }
  note(anchors.back().at,
       past(slope(intervals - 2), seconds(end - anchors.back().at), length(intervals - 1)));
}

}  // namespace

RecordedMotion recorded_motion(const CaptureConfig& config, const CapturedMachine& machine) {
  const auto recorded = [&](LineId line) { return !config.signals[index(line)].empty(); };
  const bool has_hall = recorded(line::hall_U) && recorded(line::hall_V) && recorded(line::hall_W);
  const bool has_encoder =
      machine.encoder_lines > 0 && recorded(line::encoder_A) && recorded(line::encoder_B);
  RecordedMotion motion;
  if (!has_hall && !has_encoder) return motion;

  HallDecoder hall(machine);
  EncoderDecoder encoder(machine);
  Anchors hall_anchors(Time{0}), encoder_anchors(Time{1'000'000'000});
  std::optional<double> index_zero, hall_zero;  // electrical angle of encoder count 0
  std::optional<Interval> first_sector;

  LineStream stream(config);
  for (Edge edge; stream.next(edge);) {
    const bool starting = edge.at == Time{};
    if (has_hall && HallDecoder::takes(edge.line)) {
      const auto crossed = hall.see(edge, starting);
      if (crossed) {
        hall_anchors.add(edge.at, *crossed);
        if (!hall_zero) hall_zero = *crossed - encoder.angle_rad();
      }
      if (starting) first_sector = hall.sector();
    }
    if (has_encoder && EncoderDecoder::takes(edge.line)) {
      const auto step = encoder.see(edge, starting);
      if (step.counted) encoder_anchors.add(edge.at, encoder.angle_rad());
      if (step.index_rad && !index_zero) index_zero = *step.index_rad - encoder.angle_rad();
    }
  }
  const Time end = stream.length();
  motion.impossible_steps =
      (has_hall ? hall.impossible() : 0) + (has_encoder ? encoder.impossible() : 0);

  const double reach_rad = has_encoder ? encoder.step_rad() : hall.widest_sector_rad();
  const auto anchors = has_encoder ? encoder_anchors.take() : hall_anchors.take();
  motion.source = has_encoder ? RecordedMotion::Source::encoder : RecordedMotion::Source::hall;
  motion.anchors = has_encoder ? encoder.counts() : hall.crossings();
  fill_speed(motion, anchors, end, reach_rad);

  const std::optional<double> zero = !has_encoder ? 0.0 : (index_zero ? index_zero : hall_zero);
  if (zero && !anchors.empty()) {
    const double lead_s = seconds(anchors.front().at);
    const double lead = motion.speed.empty() ? 0.0 : motion.speed.front().electrical_rad_s * lead_s;
    motion.initial_electrical_rad = wrapped(*zero + anchors.front().angle_rad - lead);
    motion.initial_uncertainty_rad =
        motion.speed.empty() ? reach_rad : std::min(reach_rad, motion.interpolation_error_rad);
    if (has_encoder) motion.initial_uncertainty_rad = reach_rad;
  } else if (first_sector) {
    motion.initial_electrical_rad = wrapped(first_sector->middle_rad());
    motion.initial_uncertainty_rad = first_sector->width_rad() / 2.0;
  }
  return motion;
}

}  // namespace stillrotor::io
