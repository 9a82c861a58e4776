// Temperature sensors: a resistance that follows a temperature, below a pull-up resistor.
// Units   deg C at the sensor, ohm, V. Self-heating and the sensor's own lag are left out.
// Sources platinum: IEC 60751, Callendar-Van Dusen with its standard coefficients, -200 to 850
//         deg C (from memory). NTC: B equation, R = R_25 exp(B (1/T - 1/T_25)), T in kelvin
//         (common practice). Silicon: R = R_25 (1 + alpha dT + beta dT^2), dT from 25 deg C
//         (common practice of silicon spreading-resistance sensors).
// RT: safe. O(1), no state.
#pragma once

namespace stillrotor::plant {

enum class TemperatureSensing : unsigned char { none, ntc, platinum, silicon };

/// Where in the drive a temperature is.
enum class TemperatureNode : unsigned char { winding, magnet, heatsink, junction };
inline constexpr int temperature_node_count = 4;

struct TemperatureSensorParameters {
  TemperatureSensing kind = TemperatureSensing::none;
  TemperatureNode node = TemperatureNode::winding;
  double nominal_ohm = 10e3;  // NTC, silicon: at 25 deg C; platinum: at 0 deg C
  double b_K = 3435.0;        // NTC
  double linear_per_K = 7.88e-3, quadratic_per_K2 = 1.937e-5;  // silicon
  double pull_up_ohm = 4.7e3;                                  // to the supply; > 0
  double supply_V = 5.0;
};

/// NTC: above -273.15 deg C. Silicon: taken from -55 to 175 deg C, outside as at the end of the
/// range, where its parabola is no longer the sensor's.
double sensor_ohm(const TemperatureSensorParameters&, double temperature_C) noexcept;

/// At the connector. 0 where none is fitted.
double temperature_sense_V(const TemperatureSensorParameters&, double temperature_C) noexcept;

}  // namespace stillrotor::plant
