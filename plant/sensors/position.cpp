#include "plant/sensors/position.hpp"

#include <algorithm>
#include <bit>
#include <cmath>

#include "plant/sensors/noise.hpp"

namespace stillrotor::plant {
namespace {
constexpr double half_pi = 0.5 * pi;
constexpr double never_rad = 1e9;
constexpr double at_once_rad = -never_rad;  // in the place of the threshold ahead

constexpr std::uint8_t bit(int line) noexcept { return static_cast<std::uint8_t>(1U << line); }
constexpr int encoder_first = static_cast<int>(SensorLine::encoder_A);
constexpr unsigned encoder_lines = 7U << encoder_first;

/// Of few turns, without a call; halves do not come up.
double nearest(double turns) noexcept {
  return static_cast<double>(static_cast<std::int64_t>(turns + (turns < 0.0 ? -0.5 : 0.5)));
}

std::int64_t counted_index(const EncoderParameters& encoder) noexcept {
  const std::int64_t per_turn = 4 * static_cast<std::int64_t>(encoder.lines);
  const auto count = static_cast<std::int64_t>(
      std::floor(encoder.index_rad / two_pi * static_cast<double>(per_turn)));
  return ((count % per_turn) + per_turn) % per_turn;
}

/// Then levels change with each count.
bool all_lines_seen(const EncoderParameters& encoder, const DriveState& s) noexcept {
  return encoder.missing_lines.empty() && s.encoder_dirty_share <= 0.0;
}

SensorEdge toggle(DriveState& s, int line) noexcept {
  s.sensor_levels = static_cast<std::uint8_t>(s.sensor_levels ^ bit(line));
  return {static_cast<SensorLine>(line), (s.sensor_levels & bit(line)) != 0};
}
}  // namespace

PositionSensors::PositionSensors(const HallParameters& hall, const EncoderParameters& encoder,
                                 int pole_pairs, std::uint64_t seed)
    : hall_(hall),
      encoder_(encoder),
      pole_pairs_(pole_pairs),
      seed_(seed),
      index_count_(counted_index(encoder)) {
  std::sort(encoder_.missing_lines.begin(), encoder_.missing_lines.end());
}

double PositionSensors::hall_centre(const DriveState& s, int k) const noexcept {
  return k * hall_.spacing_rad + hall_.placement_error_rad[k] + s.hall_shift_rad[k] +
         s.hall_carrier_rad;
}

/// Of the rising (0) or falling (1) edge of the pulse that many turns from the present one.
double PositionSensors::hall_jitter(int k, const DriveState& s, double pulse,
                                    int edge) const noexcept {
  if (hall_.jitter_rad == 0.0) return 0.0;
  const std::int64_t number = 2 * (s.electrical_turns + static_cast<std::int64_t>(pulse)) + edge;
  return hall_.jitter_rad * even_noise(seed_, static_cast<NoiseOf>(k), number);
}

// Thresholds are built from the same two angles (rising, falling) whichever level the line has, so
// that without hysteresis the edge just passed and the one to go back over are the same number.
PositionSensors::Reach PositionSensors::hall_reach(const DriveState& s, int k) const noexcept {
  const double centre = hall_centre(s, k);
  const double rising = centre - half_pi, falling = centre + half_pi;
  const double lag = 0.5 * hall_.hysteresis_rad;
  const auto edge = [&](double nominal, double pulse, int which) {
    return nominal + two_pi * pulse + hall_jitter(k, s, pulse, which);
  };
  if (s.sensor_levels & bit(k)) {
    const double pulse = nearest((s.theta_e_rad - centre) / two_pi);
    return {edge(falling, pulse, 1) + lag, edge(rising, pulse, 0) - lag};
  }
  const double pulse = nearest((s.theta_e_rad - centre - pi) / two_pi);
  return {edge(rising, pulse + 1.0, 0) + lag, edge(falling, pulse, 1) - lag};
}

// The boundary below count c lies at c * pole_pairs / (4 lines) electrical turns; the whole turns
// are taken off in integers, so nothing is lost however far the shaft has turned.
double PositionSensors::count_begins(const DriveState& s, std::int64_t count) const noexcept {
  const std::int64_t counts_per_turn = 4 * static_cast<std::int64_t>(encoder_.lines);
  const auto p = static_cast<std::int64_t>(pole_pairs_);
  return two_pi * static_cast<double>(p * count - s.electrical_turns * counts_per_turn) /
         static_cast<double>(counts_per_turn);
}

PositionSensors::Reach PositionSensors::encoder_reach(const DriveState& s) const noexcept {
  if (all_lines_seen(encoder_, s))
    return {count_begins(s, s.encoder_count + 1), count_begins(s, s.encoder_count)};
  const std::int64_t above = changed_above(s, s.encoder_count);
  const std::int64_t below = unchanged_down_to(s, s.encoder_count);
  const bool ever = above <= s.encoder_count + 4 * static_cast<std::int64_t>(encoder_.lines);
  return {ever ? count_begins(s, above) : never_rad, ever ? count_begins(s, below) : -never_rad};
}

/// The next count with other levels; more than a turn away: there is none.
std::int64_t PositionSensors::changed_above(const DriveState& s,
                                            std::int64_t count) const noexcept {
  if (all_lines_seen(encoder_, s)) return count + 1;
  const std::int64_t far = count + 4 * static_cast<std::int64_t>(encoder_.lines);
  const std::uint8_t now = encoder_levels(s, count);
  std::int64_t above = count + 1;
  while (above <= far && encoder_levels(s, above) == now) ++above;
  return above;
}

/// The lowest count down to which levels are as at this one.
std::int64_t PositionSensors::unchanged_down_to(const DriveState& s,
                                                std::int64_t count) const noexcept {
  if (all_lines_seen(encoder_, s)) return count;
  const std::int64_t far = count - 4 * static_cast<std::int64_t>(encoder_.lines);
  const std::uint8_t now = encoder_levels(s, count);
  std::int64_t below = count;
  while (below > far && encoder_levels(s, below - 1) == now) --below;
  return below;
}

bool PositionSensors::line_is_seen(const DriveState& s, std::int64_t line) const noexcept {
  const auto& missing = encoder_.missing_lines;
  if (!missing.empty() &&
      std::binary_search(missing.begin(), missing.end(), static_cast<int>(line)))
    return false;
  return s.encoder_dirty_share <= 0.0 ||
         unit_share(noise_bits(seed_, NoiseOf::encoder_dirt, line)) > s.encoder_dirty_share;
}

std::uint8_t PositionSensors::encoder_levels(const DriveState& s,
                                             std::int64_t count) const noexcept {
  const std::int64_t per_turn = 4 * static_cast<std::int64_t>(encoder_.lines);
  const std::int64_t rest = (count + s.encoder_slip) % per_turn;
  const std::int64_t in_turn = rest < 0 ? rest + per_turn : rest;
  const std::int64_t quarter = in_turn & 3;
  const bool first = quarter == 1 || quarter == 2, second = quarter == 2 || quarter == 3;
  std::uint8_t levels = 0;
  if (all_lines_seen(encoder_, s) || line_is_seen(s, in_turn / 4)) {
    if (encoder_.reversed ? second : first) levels |= bit(encoder_first);  // A leads
    if (encoder_.reversed ? first : second) levels |= bit(encoder_first + 1);
  }
  const std::int64_t from_index = in_turn - index_count_;
  if ((from_index < 0 ? from_index + per_turn : from_index) < encoder_.index_counts)
    levels |= bit(encoder_first + 2);
  return levels;
}

void PositionSensors::start(DriveState& s) const noexcept {
  s.sensor_levels = 0;
  if (hall_.fitted)
    for (int k = 0; k < 3; ++k) {
      s.sensor_levels |= bit(k);
      const Reach high = hall_reach(s, k);
      const double rose_rad = high.behind_rad + hall_.hysteresis_rad;
      if (s.theta_e_rad < rose_rad || s.theta_e_rad >= high.ahead_rad) toggle(s, k);
    }
  if (encoder_.fitted) {
    count_anew(s);
    s.sensor_levels |= encoder_levels(s, s.encoder_count);
  }
  find_thresholds(s);
}

void PositionSensors::change_encoder(DriveState& s, double dirty_share,
                                     std::int64_t slip) const noexcept {
  if (encoder_.fitted) count_anew(s);
  s.encoder_dirty_share = dirty_share;
  s.encoder_slip = slip;
  find_thresholds(s);
}

/// From the angle: where lines are not seen the count stays behind until a level changes.
void PositionSensors::count_anew(DriveState& s) const noexcept {
  const double turns = static_cast<double>(s.electrical_turns) + s.theta_e_rad / two_pi;
  auto count = static_cast<std::int64_t>(
      std::floor(turns * 4.0 * static_cast<double>(encoder_.lines) / pole_pairs_));
  // Rounding may put the angle a hair outside the count's own boundaries.
  if (s.theta_e_rad >= count_begins(s, count + 1)) ++count;
  if (s.theta_e_rad < count_begins(s, count)) --count;
  s.encoder_count = count;
}

void PositionSensors::find_thresholds(DriveState& s) const noexcept {
  find_thresholds_of_halls(s);
  find_thresholds_of_encoder(s, encoder_.fitted ? encoder_pending(s) : 0);
}

void PositionSensors::find_thresholds_of_halls(DriveState& s) const noexcept {
  s.hall_ahead_rad = never_rad;
  s.hall_behind_rad = -never_rad;
  if (hall_.fitted)
    for (int k = 0; k < 3; ++k) {
      const Reach r = hall_reach(s, k);
      if (r.ahead_rad < s.hall_ahead_rad) s.hall_ahead_rad = r.ahead_rad;
      if (r.behind_rad > s.hall_behind_rad) s.hall_behind_rad = r.behind_rad;
    }
}

/// While the Halls' stay as they are.
void PositionSensors::find_thresholds_of_encoder(DriveState& s, unsigned pending) const noexcept {
  s.edge_ahead_rad = s.hall_ahead_rad;
  s.edge_behind_rad = s.hall_behind_rad;
  if (!encoder_.fitted) return;
  const Reach r = encoder_reach(s);
  if (r.ahead_rad < s.edge_ahead_rad) s.edge_ahead_rad = r.ahead_rad;
  if (r.behind_rad > s.edge_behind_rad) s.edge_behind_rad = r.behind_rad;
  // A and Z, or B and Z, change with one count: the second is due at once.
  if (pending != 0) s.edge_ahead_rad = at_once_rad;
}

/// Bit k: line k has not yet the level of this count.
unsigned PositionSensors::encoder_pending(const DriveState& s) const noexcept {
  return (s.sensor_levels & encoder_lines) ^ encoder_levels(s, s.encoder_count);
}

/// The first due of the Halls, of equals the first line.
int PositionSensors::hall_due(const DriveState& s, bool forward) const noexcept {
  int due = -1;
  double first = forward ? never_rad : -never_rad;
  for (int k = 0; k < 3; ++k) {
    const Reach r = hall_reach(s, k);
    if (forward ? r.ahead_rad < first : r.behind_rad > first) {
      first = forward ? r.ahead_rad : r.behind_rad;
      due = k;
    }
  }
  return due;
}

// Of what is due at one angle Halls come before the encoder, but not between two of its lines.
SensorEdge PositionSensors::flip(DriveState& s) const noexcept {
  const bool forward = s.theta_e_rad >= s.edge_ahead_rad, at_once = s.edge_ahead_rad == at_once_rad;
  const bool of_encoder = at_once || (forward ? s.edge_ahead_rad < s.hall_ahead_rad
                                              : s.edge_behind_rad > s.hall_behind_rad);
  if (!of_encoder) {
    const SensorEdge edge = toggle(s, hall_due(s, forward));
    find_thresholds(s);
    return edge;
  }
  if (!at_once)
    s.encoder_count =
        forward ? changed_above(s, s.encoder_count) : unchanged_down_to(s, s.encoder_count) - 1;
  const unsigned pending = encoder_pending(s);
  const SensorEdge edge = toggle(s, std::countr_zero(pending));
  find_thresholds_of_encoder(s, pending & (pending - 1));
  return edge;
}

}  // namespace stillrotor::plant
