#include <algorithm>
#include <cmath>

#include "io/link/coprocessor/host/parameters.hpp"
#include "io/link/coprocessor/host/ranges.hpp"

namespace stillrotor::io::coprocessor {
namespace {

constexpr double pi = 3.14159265358979323846, two_pi = 2.0 * pi;

/// Modulo a turn, 2^32 to it.
std::uint32_t turn_32(double rad) {
  const double turns = rad / two_pi;
  return static_cast<std::uint32_t>(
      static_cast<std::uint64_t>(std::llround((turns - std::floor(turns)) * 0x1p32)));
}

}  // namespace

cp_piece piece(const Scale& s, const Motion& m, std::uint32_t at) {
  const double step = s.step_s();
  within("speed", std::fabs(m.omega_m_rad_s) * step / two_pi, 0.0, 1.0 / 256.0, "turns a step",
         "Shorten the step.");
  within("acceleration", std::fabs(m.alpha_rad_s2) * step, 0.0, 1e3, "rad/s a step", "");
  const double change = m.alpha_rad_s2 * step * step / two_pi;
  const double rate = m.omega_m_rad_s * step / two_pi + 0.5 * change;
  return {at, turn_32(m.theta_m_rad), std::llround(rate * 0x1p64), std::llround(change * 0x1p64)};
}

cp_angle_parameters angle_parameters(const AngleOutputs& a, int pole_pairs, const Scale& s) {
  within("pole_pairs", pole_pairs, 1, 64, "", "Count the rotor magnets and divide by two.");
  within("encoder_lines", a.encoder_lines, 0, 16384, "", "");
  within("index_counts", a.index_counts, 1, 4, "", "One, two or four.");
  if (a.word_bits != 0) within("word_bits", a.word_bits, 8, 20, "", "0 for none.");
  within("word_turns", a.word_turns, 1, 64, "", "1, or the pole pairs.");
  cp_angle_parameters p{};
  p.step_ticks = static_cast<std::uint32_t>(s.step_ticks);
  p.pole_pairs = static_cast<std::uint32_t>(pole_pairs);
  p.halls = a.halls;
  for (int k = 0; k < 3; ++k)
    p.hall_rise[k] = turn_32(k * a.hall_spacing_rad + a.hall_placement_error_rad[k] - 0.5 * pi);
  p.encoder_counts = 4U * static_cast<std::uint32_t>(a.encoder_lines);
  p.index_count = static_cast<std::uint32_t>(
      (static_cast<std::uint64_t>(turn_32(a.index_rad)) * p.encoder_counts) >> 32);
  p.index_counts = static_cast<std::uint32_t>(a.index_counts);
  p.reversed = a.reversed;
  p.word_bits = static_cast<std::uint32_t>(a.word_bits);
  p.word_turns = static_cast<std::uint32_t>(a.word_turns);
  p.word_zero = turn_32(a.word_zero_rad);
  return p;
}

double max_speed_rad_s(const cp_angle_parameters& p, const Scale& s) {
  double turns = 1.0 / 256.0 - 0x1p-24;
  turns = std::min(turns, 1.0 / 180.0 / p.pole_pairs);
  if (p.encoder_counts) turns = std::min(turns, 0.999 / p.encoder_counts);
  return turns * two_pi / s.step_s();
}

cp_track_parameters track_parameters(const cp_angle_parameters& p, const Scale& s, double join_rad,
                                     double slew_rad_s) {
  const double fastest = max_speed_rad_s(p, s);
  within("join", join_rad, 0.0, 0.1, "rad", "");
  within("slew", slew_rad_s, 0.0, fastest, "rad/s", "The outputs could not follow.");
  const auto a_step = [&](double rad_s) {
    return static_cast<std::uint32_t>(rad_s * s.step_s() / two_pi * 0x1p32);
  };
  return {static_cast<std::uint32_t>(s.step_ticks), turn_32(join_rad),
          std::max<std::uint32_t>(1U, a_step(slew_rad_s)), a_step(fastest)};
}

cp_trip_parameters trip_parameters(std::uint32_t watches, double limit_A, double delay_s,
                                   const Plant& plant) {
  const Scale& s = plant.scale;
  within("what the trip watches", watches, CP_TRIP_NONE, CP_TRIP_PHASES, "", "");
  within("trip limit", limit_A, s.ampere, 32767.0 * s.ampere, "A", "Widen the current range.");
  within("trip delay", delay_s, 0.0, 1e-3, "s", "");
  // Bus and EMF at their range's end, g_UU at its peak.
  const double rise = 2.0 * s.volt * 0x1p18 * s.step_s() / s.weber / 0x1p15;
  return {watches,
          s.amperes(limit_A),
          static_cast<std::uint32_t>(std::lround(delay_s / s.tick_s)),
          static_cast<std::int32_t>(std::ceil(rise)),
          static_cast<std::uint32_t>(s.step_ticks),
          static_cast<std::uint32_t>(s.step_ticks / 4)};
}

cp_sense_channel sense_channel(const Channel& c, const Scale& s) {
  within("what the channel shows", c.what, CP_SENSE_PHASE_U, CP_SENSE_TOLD, "", "");
  within("converter_bits", c.converter_bits, 8, 16, "", "");
  within("converter_V", c.converter_V, 0.1, 1e3, "V", "");
  within("offset", c.offset_V, 0.0, c.converter_V, "V", "The safe level must be one it can show.");
  const double codes = std::ldexp(1.0, c.converter_bits) / c.converter_V;
  const double unit = c.what == CP_SENSE_BUS ? s.volt : s.ampere;
  const std::int32_t most = (1 << c.converter_bits) - 1;
  const std::int32_t offset =
      std::min(most, static_cast<std::int32_t>(std::lround(c.offset_V * codes)));
  if (c.what == CP_SENSE_TOLD) return {c.what, {1, 0}, offset, most};
  return {c.what, gain("volts per unit", c.volts_per_unit * unit * codes, 4095, "Lower the gain."),
          offset, most};
}

std::int32_t told_code(const cp_sense_channel& c, double volts, double converter_V) noexcept {
  const double code = std::clamp(volts / converter_V * (c.most + 1.0), 0.0, 1.0 * c.most);
  return static_cast<std::int32_t>(std::lround(code)) - c.offset;
}

cp_parameters core_parameters(const Plant& plant, const Timing& t, const cp_angle_parameters& angle,
                              const cp_track_parameters& track, const cp_trip_parameters& trip,
                              const std::vector<cp_sense_channel>& channels) {
  const Scale& s = plant.scale;
  const auto ticks = [&](const char* what, double seconds, double low, double high) {
    return static_cast<std::uint32_t>(
        std::lround(within(what, seconds, low, high, "s", "") / s.tick_s));
  };
  within("number of channels", static_cast<double>(channels.size()), 0, CP_CHANNELS, "",
         "Show fewer.");
  cp_parameters p{};
  p.step_ticks = plant.parameters.step_ticks;
  p.settle_ticks = ticks("settle", t.settle_s, 0.0, 1e-3);
  p.silence_ticks = ticks("silence", t.silence_s, 1e-3, 1.0);
  p.behind_ticks = ticks("behind", t.behind_s, 2.0 * s.step_s(), 10e-3);
  p.report_steps = static_cast<std::uint32_t>(
      within("report_steps", t.report_steps, 1, 4096, "", "Their sums must fit."));
  p.theta = turn_32(t.theta_m_rad);
  p.channels = static_cast<std::uint32_t>(channels.size());
  p.plant = plant.parameters;
  p.track = track;
  p.angle = angle;
  p.trip = trip;
  std::copy(channels.begin(), channels.end(), p.sense);
  return p;
}

}  // namespace stillrotor::io::coprocessor
