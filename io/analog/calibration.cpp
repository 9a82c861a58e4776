#include "io/analog/calibration.hpp"

#include <algorithm>
#include <cmath>

namespace stillrotor::io {
namespace {

double along(const CalibrationPoints& points, double x, double CalibrationPoint::*from,
             double CalibrationPoint::*to) noexcept {
  if (points.size() < 2) return x;
  std::size_t k = 1;
  while (k + 1 < points.size() && x > points[k].*from) ++k;
  const CalibrationPoint &a = points[k - 1], &b = points[k];
  return a.*to + (x - a.*from) * (b.*to - a.*to) / (b.*from - a.*from);
}

}  // namespace

double true_from_shown(const CalibrationPoints& points, double shown_V) noexcept {
  return along(points, shown_V, &CalibrationPoint::shown_V, &CalibrationPoint::true_V);
}
double shown_from_true(const CalibrationPoints& points, double true_V) noexcept {
  return along(points, true_V, &CalibrationPoint::true_V, &CalibrationPoint::shown_V);
}

OutputScale::OutputScale(const SpiDacConfig& dac, const AnalogOutput& output)
    : output_(output),
      codes_per_V_(std::ldexp(1.0, dac.part.bits) / (dac.reference_V * dac.gain)),
      most_code_(std::ldexp(1.0, dac.part.bits) - 1.0) {
  const double one_end = wire_V(0), other_end = wire_V(static_cast<std::uint32_t>(most_code_));
  least_V_ = std::max(std::min(one_end, other_end), output.least_V);
  most_V_ = std::min(std::max(one_end, other_end), output.most_V);
}

OutputScale::Code OutputScale::code(double wire_V) const noexcept {
  const double asked_V = std::isnan(wire_V) ? output_.safe_V : wire_V;
  const double held_V = std::clamp(asked_V, least_V_, most_V_);
  const double shown_V = shown_from_true(output_.calibration, held_V);
  const double code = std::round((shown_V - output_.shift_V) / output_.scale * codes_per_V_);
  // Half a step beyond an end is that end still.
  const bool clamped = std::isnan(wire_V) || std::abs(held_V - asked_V) > 0.5 * step_V();
  return {static_cast<std::uint32_t>(std::clamp(code, 0.0, most_code_)), clamped};
}

double OutputScale::wire_V(std::uint32_t code) const noexcept {
  const double shown_V = output_.scale * static_cast<double>(code) / codes_per_V_ + output_.shift_V;
  return true_from_shown(output_.calibration, shown_V);
}

double OutputScale::step_V() const noexcept { return std::abs(output_.scale) / codes_per_V_; }

InputScale::InputScale(const AnalogInput& input, double volts_per_count, double offset_counts)
    : input_(input), volts_per_count_(volts_per_count), offset_counts_(offset_counts) {}

double InputScale::wire_V(double counts) const noexcept {
  const double part_V = volts_per_count_ * (counts + offset_counts_);
  return true_from_shown(input_.calibration, input_.scale * part_V + input_.shift_V);
}

double InputScale::step_V() const noexcept { return std::abs(input_.scale * volts_per_count_); }

}  // namespace stillrotor::io
