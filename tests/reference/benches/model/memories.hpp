// What remembers: lags of sensors and filters, and heat on its way, fed with the quantities at four
// points of a short stretch (Lobatto's, ends included).
//   dy/dt = (u - y) / tau   Stretches shorter than tau: the convolution with exp(-t/tau) by
//                           Lobatto's rule. Longer: u is the cubic through the points, and
//                           y = p + (y_0 - p_0) exp(-t/tau), p = u - tau u' + tau^2 u'' - ...
//   play, compression, slew as plant/sensors/current.hpp says; a slew limit in many small steps.
// Source: textbook, derived; another form than the plant's, whose inputs are straight lines.
#pragma once

#include <array>

#include "plant/drive.hpp"

namespace stillrotor::reference {

inline constexpr int points = 4;
/// Of a stretch from 0 to 1, and the rule's weights.
inline constexpr std::array<double, points> point_at = {0.0, 0.27639320225002103,
                                                        0.72360679774997897, 1.0};
inline constexpr std::array<double, points> point_weight = {1.0 / 12.0, 5.0 / 12.0, 5.0 / 12.0,
                                                            1.0 / 12.0};
using Course = std::array<double, points>;

double lagged(double y, const Course& u, double length_s, double tau_s);

class CurrentMemory {
 public:
  CurrentMemory() = default;
  CurrentMemory(const plant::CurrentSensorParameters&, std::size_t element);
  void pass(const Course& at_sensor_A, double length_s);
  double output_A() const { return output_A_; }

 private:
  plant::CurrentSensorParameters par_;
  double slew_A_per_s_ = 0.0, tau_s_ = 1.0;
  double played_A_ = 0.0, output_A_ = 0.0;
};

}  // namespace stillrotor::reference
