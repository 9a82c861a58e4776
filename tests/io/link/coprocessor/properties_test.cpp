// Properties that hold whatever the parameters and edges are. The core is compiled here with every
// overflow watched, so that the first one ends the test.
#include <gtest/gtest.h>

#include <cmath>
#include <cstdlib>
#include <random>
#include <stdexcept>

#include "io/link/coprocessor/host/parameters.hpp"
#include "io/link/coprocessor/rotor_field.h"
#include "io/link/coprocessor/sine_table.h"

namespace stillrotor::io::coprocessor {
namespace {

struct Random {
  explicit Random(unsigned seed) : rng(seed) {}
  double uniform(double a, double b) { return std::uniform_real_distribution<>(a, b)(rng); }
  double decades(double a, double b) {
    return std::pow(10.0, uniform(std::log10(a), std::log10(b)));
  }
  std::uint32_t bits() { return static_cast<std::uint32_t>(rng()); }
  std::mt19937 rng;
};

/// Anything that the host accepts; false: refused.
bool random_plant(Random& r, Plant& out) {
  Machine m;
  m.pole_pairs = 1 + static_cast<int>(r.bits() % 64);
  m.winding_resistance_ohm = r.decades(1e-4, 10.0);
  m.inductance_d_H = r.decades(1e-6, 0.1);
  m.inductance_q_H = m.inductance_d_H * r.decades(0.25, 4.0);
  m.flux_linkage_Wb = r.bits() % 8 ? r.decades(1e-4, 1.0) : 0.0;
  if (r.bits() % 2) m.back_emf = {{1, 1.0}, {3, 0.3}, {5, r.uniform(-1.0, 1.0)}};
  const Bridge b{r.decades(1e-4, 1.0), r.uniform(0.0, 3.0), r.decades(1e-4, 1.0)};
  const Link k{r.decades(1e-6, 1.0), r.bits() % 4 ? r.decades(1e-4, 1.0) : 0.0,
               r.uniform(0.0, 500.0), r.bits() % 4 ? r.decades(1e-3, 100.0) : 0.0};
  const Format f{r.decades(1e-9, 1e-6), 16 + static_cast<int>(r.bits() % 241),
                 r.decades(0.1, 2000.0), r.decades(5.0, 1000.0)};
  try {
    out = plant_parameters(m, b, k, f);
    return true;
  } catch (const std::invalid_argument&) {
    return false;
  }
}

// Gates of any kind at any tick, any angle and any speed, supplies and temperatures that jump.
TEST(Properties, NothingOverflowsOverAllThatTheHostAccepts) {
  int tried = 0, over_range = 0;
  for (unsigned seed = 0; tried < 400; ++seed) {
    ASSERT_LT(seed, 200000U);
    Random r(seed);
    Plant made;
    if (!random_plant(r, made)) continue;
    ++tried;
    const std::uint32_t step = made.parameters.step_ticks;
    cp_plant s;
    std::uint32_t theta = r.bits();
    std::int32_t moved = static_cast<std::int32_t>(r.bits()) >> (8 + r.bits() % 16);
    cp_plant_start(&s, &made.parameters, theta, moved);
    for (int n = 0; n < 4000; ++n) {
      for (std::uint32_t left = step; left != 0;) {
        const std::uint32_t ticks = r.bits() % 3 ? left : 1 + r.bits() % left;
        cp_plant_advance(&s, ticks);
        left -= ticks;
        for (std::int32_t i : s.i) ASSERT_LE(std::abs(i), 2 * 57344);
        ASSERT_LE(std::abs(s.bus), 1 << 19);
        if (left != 0 || r.bits() % 8 == 0) cp_plant_gates(&s, r.bits() % 64);
      }
      theta += static_cast<std::uint32_t>(moved);
      if (cp_field_step(&s))
        cp_field_aim(&s, theta + CP_FIELD_AHEAD * static_cast<std::uint32_t>(moved));
      if (r.bits() % 500 == 0) theta = r.bits();
      if (r.bits() % 500 == 0) moved = static_cast<std::int32_t>(r.bits()) >> (8 + r.bits() % 16);
      if (r.bits() % 200 == 0) cp_plant_supply(&s, static_cast<std::int32_t>(r.bits()));
      if (r.bits() % 200 == 0)
        cp_plant_heat(&s, {static_cast<std::int32_t>(r.bits() % 16384), r.bits() % 40},
                      static_cast<std::int32_t>(r.bits() % 65536) - 10000);
      if (r.bits() % 200 == 0) cp_plant_gates(&s, 0);
    }
    over_range += (s.flags & CP_PLANT_OVER_RANGE) != 0;
  }
  EXPECT_GT(over_range, 20);  // the limits were met, not only approached
}

// All low switches on, the rotor at rest: the field's energy can only become heat.
TEST(Properties, EnergyOfAClosedWindingDoesNotGrow) {
  int tried = 0;
  for (unsigned seed = 0; tried < 100; ++seed) {
    ASSERT_LT(seed, 100000U);
    Random r(seed);
    Plant made;
    if (!random_plant(r, made)) continue;
    ++tried;
    cp_plant s;
    const std::uint32_t theta = r.bits();
    cp_plant_start(&s, &made.parameters, theta, 0);
    const std::uint32_t step = made.parameters.step_ticks;
    s.flux[0] = static_cast<std::int32_t>(r.bits()) >> 2;
    s.flux[1] = static_cast<std::int32_t>(r.bits()) >> 2;
    cp_plant_gates(&s, CP_UL | CP_VL | CP_WL);
    cp_plant_currents(&s);
    const auto energy = [&s] {
      return static_cast<double>(s.flux[0]) * s.i[0] + static_cast<double>(s.flux[1]) * s.i[1];
    };
    // One unit of each current, for its rounding.
    const auto slack = [&s] {
      return 2.0 * (std::fabs(static_cast<double>(s.flux[0])) +
                    std::fabs(static_cast<double>(s.flux[1]))) +
             0x1p17;
    };
    double before = energy();
    for (int n = 0; n < 20000; ++n) {
      cp_plant_advance(&s, step);
      if (cp_field_step(&s)) cp_field_aim(&s, theta);
      const double now = energy();
      ASSERT_LE(now, before + slack()) << "seed " << seed << " step " << n;
      before = now;
    }
  }
}

// Off legs after any history: the current that is left runs only where a diode lets it.
TEST(Properties, CurrentsOfOffLegsDieAndDoNotComeBack) {
  int tried = 0;
  for (unsigned seed = 0; tried < 100; ++seed) {
    ASSERT_LT(seed, 100000U);
    Random r(seed);
    Plant made;
    if (!random_plant(r, made)) continue;
    if (made.parameters.source_V < 20000) continue;
    ++tried;
    const std::uint32_t theta = r.bits();
    cp_plant s;
    cp_plant_start(&s, &made.parameters, theta, 0);
    s.flux[0] = static_cast<std::int32_t>(r.bits()) >> 3;
    s.flux[1] = static_cast<std::int32_t>(r.bits()) >> 3;
    cp_plant_gates(&s, CP_UL | CP_VL | CP_WL);
    cp_plant_currents(&s);
    cp_plant_gates(&s, 0);
    for (int n = 0; n < 200000 && (s.i[0] | s.i[1] | s.i[2]) != 0; ++n) {
      cp_plant_advance(&s, made.parameters.step_ticks);
      if (cp_field_step(&s)) cp_field_aim(&s, theta);
    }
    EXPECT_EQ(s.i[0], 0) << seed;
    EXPECT_EQ(s.i[1], 0) << seed;
  }
}

TEST(Properties, TheSineTableIsOne) {
  for (int n = 0; n <= 256; ++n)
    EXPECT_EQ(cp_sine_table[n],
              std::lround(32767.0 * std::sin(6.28318530717958647692 * n / 256.0)));
}

}  // namespace
}  // namespace stillrotor::io::coprocessor
