// How a quantity moves from the moment of its action on, beyond a step or a ramp.
//   sine   added to it: amplitude * sin(2 pi f t), while it lasts
//   noise  added to it: drawn when the scenario is read, straight between its points
//   table  in its place: straight between the points, the last one holds
// Units the quantity's own, SI; times in ps since the action.
#pragma once

#include <cstdint>
#include <vector>

namespace stillrotor {

struct ShapePoint {
  std::int64_t at_ps = 0;
  double value = 0.0;
};

struct Shape {
  enum class Kind : std::uint8_t { sine, noise, table } kind = Kind::sine;
  double size = 0.0;          // amplitude of a sine, rms of a noise
  double frequency_Hz = 1.0;  // of a sine; a noise has half its density of power left there
  std::int64_t lasts_ps = 0;
  std::vector<ShapePoint> points;  // of noise and table, in order of time
};

/// Draws a noise's points.
void draw_noise(Shape&, std::uint64_t seed, std::uint64_t action);

/// Times since the action at which an intermittent fault goes away and comes back by turns; at the
/// last one it goes away for good.
struct Flickering {
  double share = 0.0;      // of the time present, in the long run
  double present_s = 0.0;  // mean
  double lasts_s = 0.0;
};
std::vector<std::int64_t> draw_flips(const Flickering&, std::uint64_t seed, std::uint64_t action);

}  // namespace stillrotor
