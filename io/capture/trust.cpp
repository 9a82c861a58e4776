#include <algorithm>
#include <cmath>
#include <cstdio>

#include "io/capture/motion.hpp"
#include "io/stamp_error.hpp"

namespace stillrotor::io {
namespace {

constexpr double pi = 3.14159265358979324;
constexpr double limit_rad = 5.0 * pi / 180.0;

template <class... Numbers>
std::string text(const char* format, Numbers... numbers) {
  char line[1024];
  std::snprintf(line, sizeof line, format, numbers...);
  return line;
}
double degrees(double rad) { return rad * 180.0 / pi; }

/// A speed that somebody states: the error grows with time.
void trust_held_speed(CaptureTrust& trust, const RecordedMotion& motion, const TrustQuestion& q) {
  const double rate =
      std::abs(q.speed_uncertainty_rad_s) + std::abs(q.clock_error * q.held_speed_rad_s);
  const double start =
      q.initial_uncertainty_rad >= 0.0 ? q.initial_uncertainty_rad : motion.initial_uncertainty_rad;
  const double time_s = start >= limit_rad ? 0.0
                        : rate > 0.0       ? (limit_rad - start) / rate
                                           : q.length_s;
  trust.trusted_s = std::min(time_s, q.length_s);
  trust.angle_error_rad = start + rate * q.length_s;
  trust.text = text(
      "Open loop at a held speed of %.4g rad/s (electrical), +- %.3g rad/s, recording's clock "
      "+- %.3g ppm: the angle error starts at up to %.3g deg and grows by up to %.3g deg/s. "
      "It stays below 5 electrical degrees for %.4g s of %.4g s.",
      q.held_speed_rad_s, std::abs(q.speed_uncertainty_rad_s), q.clock_error * 1e6, degrees(start),
      degrees(rate), trust.trusted_s, q.length_s);
}

/// Recorded edges anchor the angle again and again: the error is bounded, not growing.
void trust_recorded_motion(CaptureTrust& trust, const RecordedMotion& motion,
                           const TrustQuestion& q) {
  double fastest = 0.0;
  for (const auto& point : motion.speed)
    fastest = std::max(fastest, std::abs(point.electrical_rad_s));
  const double stamp = fastest * q.resolution_s;
  trust.angle_error_rad = motion.interpolation_error_rad + stamp;
  const bool late = motion.exceeds_limit_at >= Time{};
  trust.trusted_s =
      late ? static_cast<double>(motion.exceeds_limit_at.count()) * 1e-12 : q.length_s;
  if (stamp > limit_rad || motion.initial_uncertainty_rad > limit_rad) trust.trusted_s = 0.0;
  trust.text = text(
      "Speed from the recorded %s lines (%llu edges): each edge anchors the angle again, so the "
      "error does not grow. Between edges it is up to %.3g deg (speed taken as constant), by the "
      "stamps' resolution up to %.2g deg. It stays below 5 electrical degrees for %.4g s of %.4g "
      "s. "
      "Ripple of the speed between two edges is not in the recording.",
      motion.source == RecordedMotion::Source::encoder ? "encoder" : "Hall",
      static_cast<unsigned long long>(motion.anchors), degrees(motion.interpolation_error_rad),
      degrees(stamp), trust.trusted_s, q.length_s);
  if (motion.impossible_steps > 0)
    trust.text += text(
        " %llu steps of the sensor lines are impossible (lost edges or a broken "
        "line); there the angle is only carried on.",
        static_cast<unsigned long long>(motion.impossible_steps));
}

}  // namespace

CaptureTrust trust(const RecordedMotion& motion, const TrustQuestion& q) {
  CaptureTrust trust;
  if (q.held_speed_rad_s != 0.0)
    trust_held_speed(trust, motion, q);
  else if (!motion.speed.empty())
    trust_recorded_motion(trust, motion, q);
  else {
    trust.angle_error_rad = pi;
    trust.text =
        "The recording shows no turning machine (no Hall or encoder edges), and no speed is given: "
        "a replay says nothing about a machine that turns. State the speed, or record the sensor "
        "lines.";
  }
  if (q.bus_V > 0.0 && q.inductance_H > 0.0 && q.resistance_ohm > 0.0 && q.pwm_frequency_Hz > 0.0) {
    const double sigma_s = q.resolution_s / std::sqrt(12.0);
    const double tau_s = q.inductance_H / q.resistance_ohm;
    trust.current_error_A =
        stamp_current_error_A(q.bus_V, sigma_s, q.inductance_H, q.pwm_frequency_Hz, tau_s);
    trust.text += text(
        " Stamps of %.3g ns cost %.2g A rms of phase current "
        "((2/sqrt 3)(V_dc sigma / L) sqrt(f_s tau / 2), sigma = resolution/sqrt 12, "
        "tau = L/R = %.3g ms).",
        q.resolution_s * 1e9, trust.current_error_A, tau_s * 1e3);
  }
  return trust;
}

}  // namespace stillrotor::io
