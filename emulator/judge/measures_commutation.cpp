// What the gates do against the rotor's angle: modulation index; commutation of six-step drives.
// Sign  d on the magnet axis: e_U = -omega_e psi sin theta (docs/notation.md), so leg U of a
// six-step
//       drive is out for 60 degrees about its EMF's zeros, theta = 0 and 180 degrees, and takes
//       part from 30 to 150 and from 210 to 330 degrees, in either direction of turning.
#include <algorithm>
#include <cmath>
#include <complex>
#include <numbers>

#include "emulator/judge/leg_changes.hpp"
#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

constexpr double pi = std::numbers::pi;
constexpr double out_at_least = pi / 6.0;  // a leg that is off for longer takes no part
constexpr std::size_t fewest_commutations = 6;

/// The rotor's angle between grid points, unwrapped, by straight lines.
class Rotor {
 public:
  explicit Rotor(const MeasureInput& input) : angle_(points(input, Signal::angle_e)) {
    for (std::size_t k = 1; k < angle_.value.size(); ++k) {
      const double step = std::remainder(angle_.value[k] - angle_.value[k - 1], 2.0 * pi);
      angle_.value[k] = angle_.value[k - 1] + step;
    }
  }
  const std::string& undefined() const noexcept { return angle_.undefined; }
  double first_s() const noexcept { return angle_.first_s; }
  double last_s() const noexcept { return angle_.at_s(angle_.value.size() - 1); }
  double at(double t_s) const noexcept {
    const double place = std::clamp((t_s - angle_.first_s) / angle_.step_s, 0.0,
                                    static_cast<double>(angle_.value.size() - 1));
    const auto k = static_cast<std::size_t>(place);
    if (k + 1 >= angle_.value.size()) return angle_.value.back();
    return angle_.value[k] +
           (place - static_cast<double>(k)) * (angle_.value[k + 1] - angle_.value[k]);
  }
  /// Largest change of step from grid point to grid point: what a straight line hides, times 8.
  double bend() const noexcept {
    double most = 0.0;
    for (std::size_t k = 2; k < angle_.value.size(); ++k)
      most = std::max(most,
                      std::fabs(angle_.value[k] - 2.0 * angle_.value[k - 1] + angle_.value[k - 2]));
    return most;
  }
  /// The instant at which the last whole turn since the first point ends.
  double whole_turns_s() const noexcept {
    const double first = angle_.value.front();
    const double whole = std::floor(std::fabs(travelled()) / (2.0 * pi) + 1e-9) * 2.0 * pi;
    std::size_t k = angle_.value.size() - 1;
    while (k > 1 && std::fabs(angle_.value[k - 1] - first) >= whole) --k;
    const double before = std::fabs(angle_.value[k - 1] - first);
    const double after = std::fabs(angle_.value[k] - first);
    const double share =
        after > before ? std::clamp((whole - before) / (after - before), 0.0, 1.0) : 1.0;
    return angle_.at_s(k - 1) + share * angle_.step_s;
  }
  double travelled() const noexcept { return angle_.value.back() - angle_.value.front(); }

 private:
  Series angle_;
};

double seconds(std::int64_t ps) { return static_cast<double>(ps) * 1e-12; }

struct Errors {
  std::vector<double> late_rad;
  double doubt_rad = 0.0;
  std::string undefined;
};

/// How much later than ideal, in the direction of turning, legs begin and cease to take part.
Errors commutation_errors(const MeasureInput& input) {
  Errors errors;
  const Rotor rotor(input);
  errors.undefined = rotor.undefined();
  if (!errors.undefined.empty()) return errors;
  errors.doubt_rad = rotor.bend() / 8.0 + 2.0 * float_resolution(2.0 * pi);
  for (int leg = 0; leg < leg_count; ++leg) {
    const double offset = leg * 2.0 * pi / 3.0;
    const auto note = [&](double theta, double direction, double begins) {
      // Beginning forwards: 30 degrees and half a turn on; ceasing: 150. Backwards the other way.
      const double ideal = offset + (begins * direction > 0.0 ? pi / 6.0 : 5.0 * pi / 6.0);
      errors.late_rad.push_back(direction * std::remainder(theta - ideal, pi));
    };
    double off_s = -1.0;  // since when both gates are off
    const auto seen = [&](std::int64_t at_ps, const LegState& now) {
      const double at_s = seconds(at_ps);
      if (now.off()) {
        off_s = at_s;
        return;
      }
      const double since_s = off_s;
      off_s = -1.0;
      if (since_s < rotor.first_s() || at_s > rotor.last_s()) return;
      const double from = rotor.at(since_s), to = rotor.at(at_s);
      // Longer than a third of a turn: switched off, not commutated.
      if (std::fabs(to - from) < out_at_least || std::fabs(to - from) > 2.0 * pi / 3.0) return;
      const double direction = to > from ? 1.0 : -1.0;
      note(from, direction, -1.0);
      note(to, direction, 1.0);
    };
    leg_changes(input.record(), leg, input.window.to_ps, seen);
  }
  if (errors.late_rad.size() < fewest_commutations)
    errors.undefined = "only " + std::to_string(errors.late_rad.size()) +
                       " commutations of legs were seen (both gates of a leg off for 30 to 120 "
                       "electrical degrees); it takes " +
                       std::to_string(fewest_commutations) + ", of a six-step drive that turns";
  return errors;
}

}  // namespace

Measurement commutation_error_mean(const MeasureInput& input) {
  const Errors errors = commutation_errors(input);
  if (!errors.undefined.empty()) return undefined(errors.undefined);
  Measurement answer;
  answer.value = mean(errors.late_rad);
  answer.uncertainty = errors.doubt_rad;
  return answer;
}

Measurement commutation_error_spread(const MeasureInput& input) {
  const Errors errors = commutation_errors(input);
  if (!errors.undefined.empty()) return undefined(errors.undefined);
  const double middle = mean(errors.late_rad);
  double squares = 0.0;
  for (const double one : errors.late_rad) squares += (one - middle) * (one - middle);
  Measurement answer;
  answer.value = std::sqrt(squares / static_cast<double>(errors.late_rad.size()));
  answer.uncertainty = errors.doubt_rad;
  return answer;
}

Measurement modulation_index(const MeasureInput& input) {
  const Rotor rotor(input);
  if (!rotor.undefined().empty()) return undefined(rotor.undefined());
  if (std::fabs(rotor.travelled()) < 2.0 * pi) {
    return undefined(
        "the rotor turns by " +
        quantity_text(std::fabs(rotor.travelled()) / (2.0 * pi), "electrical turns", 3) +
        " in the window; it takes a whole one");
  }
  // Each leg's stretches of one state, times the fundamental's axis in the middle of each; long
  // ones in pieces of at most a grid step.
  std::complex<double> sum = 0.0;
  const double from_s = rotor.first_s(), to_s = rotor.whole_turns_s();
  const double step_s = 1.0 / input.record().rate_Hz();
  std::size_t changes = 0;
  for (int leg = 0; leg < leg_count; ++leg) {
    const std::complex<double> axis = std::polar(2.0 / 3.0, leg * 2.0 * pi / 3.0);
    double since_s = 0.0;
    double share = 0.0;  // of the bus, about its half
    const auto add = [&](double until_s) {
      double a = std::max(since_s, from_s);
      const double end = std::min(until_s, to_s);
      while (share != 0.0 && a < end) {
        const double b = std::min(a + step_s, end);
        sum += axis * std::polar(share * (b - a), -rotor.at(0.5 * (a + b)));
        a = b;
      }
      since_s = until_s;
    };
    const auto share_of = [](const LegState& state) {
      return state.high == state.low ? 0.0 : state.high ? 0.5 : -0.5;
    };
    share = share_of(leg_at_start(input.record(), leg));
    leg_changes(input.record(), leg, input.window.to_ps,
                [&](std::int64_t at_ps, const LegState& now) {
                  add(seconds(at_ps));
                  share = share_of(now);
                  ++changes;
                });
    add(to_s);
  }
  if (changes == 0) return undefined("no gate moves up to the window's end");
  Measurement answer;
  answer.value = std::abs(sum) / (to_s - from_s) / 0.5;
  // Pieces of up to a grid step, taken at their middle: (angle of a step)^2 / 24 of the value; and
  // a period of the modulation cut at either end.
  const double per_step = std::fabs(rotor.travelled()) * step_s / (rotor.last_s() - from_s);
  const Measurement pwm = pwm_frequency(input);
  const double period_s = pwm.undefined.empty() ? 1.0 / pwm.value : step_s;
  answer.uncertainty = answer.value * per_step * per_step / 24.0 +
                       2.0 * period_s / (to_s - from_s) + float_resolution(answer.value);
  return answer;
}

}  // namespace stillrotor
