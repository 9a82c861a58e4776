// Rows of the parameter table: sine and cosine, absolute angle.
#include "emulator/bench/parameter_rows.hpp"
#include "emulator/bench/parameter_table.hpp"

namespace stillrotor {

using namespace rows;

namespace {

std::vector<Parameter> sin_cos() {
  const auto volts = [](std::string path, Access<double> at, std::string what) {
    return real("sensors.sin_cos." + std::move(path), std::move(at), Family::voltage,
                between("-1 V", "1 V"), by_default("0 V"), std::move(what));
  };
  const auto share = [](std::string path, Access<double> at, std::string what) {
    return real("sensors.sin_cos." + std::move(path), std::move(at), Family::ratio,
                between("-50 %", "50 %"), by_default("0 %"), std::move(what));
  };
  return {
      on_off("sensors.sin_cos.fitted", AT(bench.drive.sin_cos.fitted),
             follows("on where sensors.sin_cos stands"), "sine and cosine of the shaft's angle"),
      whole("sensors.sin_cos.periods_per_turn", AT(bench.drive.sin_cos.periods_per_turn), 1, 4096,
            by_default("1"), "of the mechanical turn"),
      real("sensors.sin_cos.zero", AT(bench.drive.sin_cos.zero_rad), Family::angle,
           between("-360 deg", "360 deg"), by_default("0 deg"),
           "mechanical angle at which sine rises through its offset"),
      real("sensors.sin_cos.amplitude", AT(bench.drive.sin_cos.amplitude_V), Family::voltage,
           above("0 V", "15 V"), by_default("0.5 V"), "peak"),
      real("sensors.sin_cos.offset", AT(bench.drive.sin_cos.offset_V), Family::voltage,
           between("0 V", "30 V"), follows("half of controller.supply"), "of both channels"),
      volts("offset_error.sin", AT(bench.drive.sin_cos.offset_error_V[0]), "of this channel"),
      volts("offset_error.cos", AT(bench.drive.sin_cos.offset_error_V[1]), "of this channel"),
      share("gain_error.sin", AT(bench.drive.sin_cos.gain_error[0]), "of this channel"),
      share("gain_error.cos", AT(bench.drive.sin_cos.gain_error[1]), "of this channel"),
      real("sensors.sin_cos.phase_error", AT(bench.drive.sin_cos.phase_error_rad), Family::angle,
           between("-30 deg", "30 deg"), by_default("0 deg"),
           "of the period; positive: cosine runs ahead"),
      share("second_harmonic", AT(bench.drive.sin_cos.second_harmonic), "over the fundamental"),
      share("third_harmonic", AT(bench.drive.sin_cos.third_harmonic), "over the fundamental"),
      real("sensors.sin_cos.noise", AT(bench.drive.sin_cos.noise_V), Family::voltage,
           between("0 V", "1 V"), by_default("0 V"), "rms, white"),
      real("sensors.sin_cos.low_limit", AT(bench.drive.sin_cos.low_limit_V), Family::voltage,
           between("0 V", "30 V"), by_default("0 V"), "where the output saturates"),
      real("sensors.sin_cos.high_limit", AT(bench.drive.sin_cos.high_limit_V), Family::voltage,
           above("0 V", "30 V"), follows("controller.supply"), "where the output saturates"),
  };
}

std::vector<Parameter> absolute_angle() {
  return {
      choice("sensors.absolute_angle.output", AT(angle_output), {"none", "pwm", "ssi", "spi"},
             by_default("none"), "a pulse as long as the angle, or bits that are clocked out"),
      whole("sensors.absolute_angle.bits", AT(bench.drive.absolute_angle.bits), 4, 18,
            by_default("12"), "of the code; spi: 14 at most"),
      real("sensors.absolute_angle.zero", AT(bench.drive.absolute_angle.zero_rad), Family::angle,
           between("-360 deg", "360 deg"), by_default("0 deg"), "mechanical angle of code 0"),
      choice("sensors.absolute_angle.direction", AT(angle_reversed), {"forward", "reversed"},
             by_default("forward"), "reversed: the code falls turning forward"),
      real("sensors.absolute_angle.eccentricity", AT(bench.drive.absolute_angle.eccentricity_rad),
           Family::angle, between("0 deg", "30 deg"), by_default("0 deg"),
           "peak of an error that comes once a turn, mechanical"),
      real("sensors.absolute_angle.eccentricity_phase",
           AT(bench.drive.absolute_angle.eccentricity_phase_rad), Family::angle,
           between("-360 deg", "360 deg"), by_default("0 deg"), "where that error rises through 0"),
      real("sensors.absolute_angle.noise", AT(bench.drive.absolute_angle.noise_rad), Family::angle,
           between("0 deg", "10 deg"), by_default("0 deg"), "rms, white, mechanical"),
      real("sensors.absolute_angle.latency", AT(bench.drive.absolute_angle.latency_s), Family::time,
           between("0 s", "10 ms"), by_default("0 s"), "age of the angle that is sent"),
      real("sensors.absolute_angle.pwm_frequency", AT(bench.drive.absolute_angle.pwm_frequency_Hz),
           Family::frequency, between("1 Hz", "10 kHz"), by_default("250 Hz"),
           "pwm: of the pulses"),
      whole("sensors.absolute_angle.start_clocks", AT(bench.drive.absolute_angle.start_clocks), 1,
            100'000, by_default("16"), "pwm: high before the code's own clocks"),
      whole("sensors.absolute_angle.stop_clocks", AT(bench.drive.absolute_angle.stop_clocks), 1,
            100'000, by_default("16"), "pwm: low at the period's end at least"),
      real("sensors.absolute_angle.data_delay", AT(bench.drive.absolute_angle.data_delay_s),
           Family::time, between("0 s", "10 us"), by_default("50 ns"),
           "ssi, spi: from the clock's edge to the bit"),
      choice("sensors.absolute_angle.code", AT(angle_code), {"gray", "binary"}, by_default("gray"),
             "ssi: of the angle's bits"),
      on_off("sensors.absolute_angle.error_bit", AT(bench.drive.absolute_angle.ssi.error_bit),
             by_default("off"), "ssi: one more bit, 1 when the sensor reports itself faulty"),
      on_off("sensors.absolute_angle.parity_bit", AT(bench.drive.absolute_angle.ssi.parity_bit),
             by_default("off"), "ssi: a last bit that makes the ones even"),
      real("sensors.absolute_angle.monoflop", AT(bench.drive.absolute_angle.monoflop_s),
           Family::time, between("11 us", "1 ms"), by_default("20 us"),
           "ssi: a clock at rest for this long ends the frame"),
      choice("sensors.absolute_angle.check", AT(spi_check), {"parity", "crc8"},
             by_default("parity"), "spi: bit 15 of 16, or eight more bits (SAE J1850)"),
      choice("sensors.absolute_angle.answers", AT(spi_answer), {"this_selection", "previous"},
             by_default("this_selection"), "spi: the selection whose angle is sent"),
  };
}

}  // namespace

std::vector<Parameter> angle_sensor_parameters() {
  std::vector<Parameter> all = sin_cos();
  for (Parameter& parameter : absolute_angle()) all.push_back(std::move(parameter));
  return all;
}

}  // namespace stillrotor
