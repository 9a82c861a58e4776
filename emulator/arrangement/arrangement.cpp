#include "emulator/arrangement/arrangement.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <numbers>

namespace stillrotor {
namespace {

constexpr double pi = std::numbers::pi;
constexpr std::array<std::array<int, 3>, 6> orders{
    {{0, 1, 2}, {0, 2, 1}, {1, 0, 2}, {1, 2, 0}, {2, 0, 1}, {2, 1, 0}}};
constexpr int looks =
    60;  // in a sector, at their middles: exact, e_k bends at sectors' borders only
// Of the best torque. Measured shares are no exact sixes: a chopped leg's duty enters.
constexpr double full_from = 0.9, half_from = 0.4, half_to = 0.6, none_to = 0.1;

double wrapped(double angle) { return angle - 2.0 * pi * std::floor(angle / (2.0 * pi)); }

/// Odd, 1 from 30 to 150 degrees.
double trapezoid(double angle) {
  const double a = wrapped(angle);
  const double up = a < pi ? std::min(a, pi - a) : -std::min(a - pi, 2.0 * pi - a);
  return std::clamp(up / (pi / 6.0), -1.0, 1.0);
}

double emf(int phase, double theta) { return -trapezoid(theta - 2.0 * pi / 3.0 * phase); }

int code_at(double theta, double spacing_rad) {
  int code = 0;
  for (int k = 0; k < 3; ++k)
    if (wrapped(theta - spacing_rad * k + pi / 2.0) < pi) code |= 1 << k;
  return code;
}

/// What the controller reads when each of its inputs has the named Hall.
int seen(int code, const std::array<int, 3>& halls) {
  int read = 0;
  for (std::size_t k = 0; k < 3; ++k) read |= (code >> halls[k] & 1) << k;
  return read;
}

Turning turning(double mean) {
  const double size = std::abs(mean);
  if (size >= full_from) return mean > 0.0 ? Turning::forward : Turning::reverse;
  if (size >= half_from && size <= half_to) return Turning::half;
  return size <= none_to ? Turning::none : Turning::odd;
}

Arrangement tried(const std::array<int, 3>& phases, const std::array<int, 3>& halls,
                  const Commutation& commutation, double spacing_rad) {
  Arrangement a{.phases = phases, .halls = halls, .least = 1e9, .greatest = -1e9};
  for (int sector = 0; sector < 6; ++sector)
    for (int k = 0; k < looks; ++k) {
      const double theta = pi / 3.0 * (sector - 0.5 + (k + 0.5) / looks);
      const LegDrive& legs =
          commutation[static_cast<std::size_t>(seen(code_at(theta, spacing_rad), halls))];
      double torque = 0.0;
      for (std::size_t leg = 0; leg < 3; ++leg) torque += legs[leg] * emf(phases[leg], theta);
      a.mean += torque / (6.0 * looks);
      a.least = std::min(a.least, torque);
      a.greatest = std::max(a.greatest, torque);
    }
  return a;
}

int moved_in(const std::array<int, 3>& order) {
  int moved = 0;
  for (int k = 0; k < 3; ++k) moved += order[static_cast<std::size_t>(k)] != k ? 1 : 0;
  return moved;
}

/// One sort of wires: an exchange of two, or a turn of all three.
std::string moves(std::string_view sort, const std::array<int, 3>& order) {
  if (moved_in(order) == 0) return {};
  if (moved_in(order) == 2) {
    std::string pair;
    for (std::size_t k = 0; k < 3; ++k)
      if (order[k] != static_cast<int>(k))
        pair += fmt::format("{}{} {}", pair.empty() ? "" : " and ", sort, "UVW"[k]);
    return "exchange " + pair;
  }
  return fmt::format("{} {}, {}, {} to the controller's U, V, W", sort, "UVW"[order[0]],
                     "UVW"[order[1]], "UVW"[order[2]]);
}

}  // namespace

int Arrangement::moved() const noexcept { return moved_in(phases) + moved_in(halls); }

std::array<int, 6> hall_codes(double spacing_rad) {
  std::array<int, 6> codes{};
  for (std::size_t s = 0; s < 6; ++s)
    codes[s] = code_at(pi / 3.0 * static_cast<double>(s), spacing_rad);
  return codes;
}

std::array<int, 2> codes_without_position(double spacing_rad) {
  const auto codes = hall_codes(spacing_rad);
  std::array<int, 2> rest{};
  std::size_t count = 0;
  for (int code = 0; code < 8 && count < 2; ++code)
    if (std::find(codes.begin(), codes.end(), code) == codes.end()) rest[count++] = code;
  return rest;
}

std::array<Arrangement, 36> arrangements(const Commutation& commutation, double spacing_rad) {
  std::array<Arrangement, 36> all;
  double best = 0.0;
  for (std::size_t p = 0; p < 6; ++p)
    for (std::size_t h = 0; h < 6; ++h) {
      all[6 * p + h] = tried(orders[p], orders[h], commutation, spacing_rad);
      best = std::max(best, std::abs(all[6 * p + h].mean));
    }
  for (Arrangement& a : all) {
    if (best > 0.0) {
      a.mean /= best;
      a.least /= best;
      a.greatest /= best;
    }
    a.turning = turning(a.mean);
  }
  return all;
}

std::vector<Arrangement> of_kind(const std::array<Arrangement, 36>& all, Turning kind) {
  std::vector<Arrangement> found;
  for (const Arrangement& a : all)
    if (a.turning == kind) found.push_back(a);
  std::stable_sort(found.begin(), found.end(), [](const Arrangement& a, const Arrangement& b) {
    return std::pair(a.moved(), moved_in(a.phases)) < std::pair(b.moved(), moved_in(b.phases));
  });
  return found;
}

bool like_six_steps(const std::array<Arrangement, 36>& all) {
  const auto count = [&all](Turning kind) {
    return std::count_if(all.begin(), all.end(),
                         [kind](const Arrangement& a) { return a.turning == kind; });
  };
  return count(Turning::forward) == 3 && count(Turning::reverse) == 3 &&
         count(Turning::half) == 12 && count(Turning::none) == 18;
}

std::string moves(const Arrangement& a) {
  const std::string halls = moves("Hall", a.halls), phases = moves("phase", a.phases);
  if (halls.empty() && phases.empty()) return "nothing to move";
  return halls + (halls.empty() || phases.empty() ? "" : "; ") + phases;
}

}  // namespace stillrotor
