// Harmonics over the electrical angle. The sum runs over whole electrical turns and over the angle,
// not over time: a speed that changes smears nothing, and no window function is needed.
//   c_k = (2 / Theta) sum y e^(-j k theta) dtheta, trapezoids between grid points
#include <algorithm>
#include <charconv>
#include <cmath>
#include <complex>
#include <numbers>

#include "emulator/judge/series.hpp"
#include "emulator/judge/statistics.hpp"
#include "emulator/judge/wording.hpp"

namespace stillrotor {
namespace {

using Complex = std::complex<double>;
constexpr double turn = 2.0 * std::numbers::pi;
constexpr int highest_of_distortion = 40;  // as IEC 61000-4-7 counts them

/// A signal against the angle from the window's first grid point on, over whole turns.
struct OverAngle {
  std::vector<double> theta, value;  // strictly rising or falling angle, ends interpolated
  double largest_step = 0.0;         // of the angle, from point to point
  std::string undefined;
};

OverAngle over_angle(const MeasureInput& input, Signal signal) {
  OverAngle answer;
  const Series angle = points(input, Signal::angle_e), value = points(input, signal);
  answer.undefined = !angle.undefined.empty() ? angle.undefined : value.undefined;
  if (!answer.undefined.empty()) return answer;
  std::vector<double> theta(angle.value.size(), 0.0);
  double forwards = 0.0, backwards = 0.0;
  for (std::size_t k = 1; k < theta.size(); ++k) {
    const double step = std::remainder(angle.value[k] - angle.value[k - 1], turn);
    theta[k] = theta[k - 1] + step;
    answer.largest_step = std::max(answer.largest_step, std::fabs(step));
    (step > 0.0 ? forwards : backwards) += std::fabs(step);
  }
  const double whole = std::floor(std::fabs(theta.back()) / turn + 1e-9) * turn;
  if (whole < turn) {
    answer.undefined = "the rotor turns by " +
                       quantity_text(std::fabs(theta.back()) / turn, "electrical turns", 3) +
                       " in the window; a harmonic needs a whole one";
  } else if (std::min(forwards, backwards) > 1e-3 * turn) {
    answer.undefined = "the rotor changes its direction in the window";
  }
  if (!answer.undefined.empty()) return answer;
  // A turn ends between two points: the value there by a straight line.
  for (std::size_t k = 0; k < theta.size(); ++k) {
    if (std::fabs(theta[k]) < whole) {
      answer.theta.push_back(theta[k]);
      answer.value.push_back(value.value[k]);
      continue;
    }
    const double from = std::fabs(theta[k - 1]), to = std::fabs(theta[k]);
    const double share = to > from ? (whole - from) / (to - from) : 1.0;
    answer.theta.push_back(std::copysign(whole, theta.back()));
    answer.value.push_back(value.value[k - 1] + share * (value.value[k] - value.value[k - 1]));
    break;
  }
  return answer;
}

/// Orders 1 .. highest; over every `stride`-th point and the last one.
std::vector<Complex> harmonics(const OverAngle& signal, int highest, std::size_t stride) {
  std::vector<Complex> sum(static_cast<std::size_t>(highest) + 1);
  const double average = mean(signal.value);  // no harmonic, but the ends would make one of it
  const std::size_t last = signal.theta.size() - 1;
  const auto next = [&](std::size_t k) { return std::min(k + stride, last); };
  std::size_t before = 0;
  for (std::size_t k = 0;; k = next(k)) {
    const double width = 0.5 * (signal.theta[next(k)] - signal.theta[before]);
    const Complex base = std::polar(1.0, -signal.theta[k]);
    Complex turned = 1.0;
    for (Complex& one : sum) {
      one += turned * ((signal.value[k] - average) * width);
      turned *= base;
    }
    if (k == last) break;
    before = k;
  }
  for (Complex& one : sum) one *= 2.0 / signal.theta[last];
  return sum;
}

/// The highest order that the grid can carry with twice its step, for the uncertainty's sake.
int highest_order(const OverAngle& signal) {
  return static_cast<int>(0.8 * 0.5 * std::numbers::pi / signal.largest_step);
}

Measurement harmonic(const OverAngle& signal, int order) {
  if (!signal.undefined.empty()) return undefined(signal.undefined);
  if (order > highest_order(signal)) {
    return undefined("the record's grid carries harmonics up to order " +
                     std::to_string(highest_order(signal)) + " at this speed");
  }
  const auto at = static_cast<std::size_t>(order);
  const double amplitude = std::abs(harmonics(signal, order, 1)[at]);
  Measurement answer;
  answer.value = amplitude;
  const auto [least, greatest] = std::minmax_element(signal.value.begin(), signal.value.end());
  answer.uncertainty = std::fabs(amplitude - std::abs(harmonics(signal, order, 2)[at])) +
                       2.0 * (*greatest - *least) / static_cast<double>(signal.value.size()) +
                       float_resolution(std::max(std::fabs(*least), std::fabs(*greatest)));
  return answer;
}

int order_of(const MeasureInput& input) {
  int order = 0;
  const char* end = input.argument.data() + input.argument.size();
  const auto [stopped, error] = std::from_chars(input.argument.data(), end, order);
  return error == std::errc() && stopped == end && order > 0 ? order : 0;
}

constexpr Signal phases[] = {Signal::current_U, Signal::current_V, Signal::current_W};

template <class What>
Measurement worst_phase(const MeasureInput& input, What&& what) {
  if (input.phase != all_phases) return what(over_angle(input, phases[input.phase]));
  Measurement worst;
  for (const Signal phase : phases) {
    const Measurement one = what(over_angle(input, phase));
    if (!one.undefined.empty()) return one;
    if (one.value >= worst.value) worst = one;
  }
  return worst;
}

constexpr const char* no_order = "it needs a harmonic's order: name it with `harmonic`";

}  // namespace

Measurement torque_harmonic(const MeasureInput& input) {
  const int order = order_of(input);
  if (order == 0) return undefined(no_order);
  // Means over the bin that ends at each point: half a bin late (no matter to an amplitude), and
  // less by what a moving average takes away.
  const OverAngle torque = over_angle(input, Signal::torque_mean);
  Measurement answer = harmonic(torque, order);
  if (!answer.undefined.empty()) return answer;
  const double half = 0.5 * order * torque.largest_step;
  const double left = half > 0.0 ? std::sin(half) / half : 1.0;
  answer.value /= left;
  answer.uncertainty = answer.uncertainty / left + (1.0 - left) * answer.value;
  return answer;
}

Measurement phase_current_harmonic(const MeasureInput& input) {
  const int order = order_of(input);
  if (order == 0) return undefined(no_order);
  return worst_phase(input, [&](const OverAngle& current) { return harmonic(current, order); });
}

Measurement phase_current_distortion(const MeasureInput& input) {
  return worst_phase(input, [](const OverAngle& current) {
    if (!current.undefined.empty()) return undefined(current.undefined);
    const int highest = std::min(highest_of_distortion, highest_order(current));
    if (highest < 5) {
      return undefined("the record's grid carries harmonics up to order " +
                       std::to_string(highest) + " at this speed; it takes five");
    }
    const auto share = [&](std::size_t stride) {
      const auto orders = harmonics(current, highest, stride);
      double squares = 0.0;
      for (std::size_t k = 2; k < orders.size(); ++k) squares += std::norm(orders[k]);
      return std::sqrt(squares) / std::abs(orders[1]);
    };
    Measurement answer;
    answer.value = share(1);
    answer.uncertainty =
        std::fabs(answer.value - share(2)) + 4.0 / static_cast<double>(current.value.size());
    const double fundamental = std::abs(harmonics(current, 1, 1)[1]);
    const auto [least, greatest] = std::minmax_element(current.value.begin(), current.value.end());
    if (!(fundamental > 1e-3 * (*greatest - *least)))
      return undefined("the current has no fundamental to compare with");
    return answer;
  });
}

}  // namespace stillrotor
