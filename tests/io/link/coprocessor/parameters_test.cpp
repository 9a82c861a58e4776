// What does not fit the number format is refused with its value, the range that does, and a remedy.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <stdexcept>
#include <string>

#include "io/link/coprocessor/host/parameters.hpp"
#include "io/link/coprocessor/host/ranges.hpp"

namespace stillrotor::io::coprocessor {
namespace {

using ::testing::HasSubstr;

std::string refusal(const Machine& m, const Bridge& b = {}, const Link& k = {},
                    const Format& f = {}) {
  try {
    plant_parameters(m, b, k, f);
  } catch (const std::invalid_argument& e) {
    return e.what();
  }
  return "accepted";
}

TEST(Parameters, AnOrdinaryMachineFits) { EXPECT_EQ(refusal({}), "accepted"); }

TEST(Parameters, SaysWhatIsWrongAndWhatIsAllowed) {
  Machine m;
  m.pole_pairs = 0;
  EXPECT_EQ(refusal(m),
            "pole_pairs is 0; allowed 1 to 64. Count the rotor magnets and divide by two.");
  m = {};
  m.inductance_q_H = 1e-3;
  EXPECT_THAT(refusal(m), HasSubstr("inductance_q is 0.001 H; allowed 3.75e-05 to 0.0006 H."));
  m = {};
  m.winding_resistance_ohm = 5.0;
  EXPECT_THAT(refusal(m), HasSubstr("winding and switch resistance is 5.004 ohm; allowed"));
  m = {};
  m.back_emf = {{2, 1.0}};
  EXPECT_THAT(refusal(m), HasSubstr("Even orders do not exist."));
  m.back_emf = {{5, 0.1}};
  EXPECT_THAT(refusal(m), HasSubstr("Name order 1."));
  Format f;
  f.step_ticks = 300;
  EXPECT_THAT(refusal({}, {}, {}, f), HasSubstr("step_ticks is 300; allowed 16 to 256."));
  Link k;
  k.capacitance_F = 1e-7;
  EXPECT_THAT(refusal({}, {}, k), HasSubstr("capacitance is 1e-07 F; allowed"));
  k = {};
  k.source_ohm = 1e-4;
  EXPECT_THAT(refusal({}, {}, k), HasSubstr("source"));
  k = {};
  k.source_V = 120.0;
  EXPECT_THAT(refusal({}, {}, k), HasSubstr("source is 120 V; allowed 0 to 100 V."));
}

TEST(Parameters, NotANumberIsRefused) {
  Machine m;
  m.inductance_d_H = std::nan("");
  EXPECT_NE(refusal(m), "accepted");
}

TEST(Parameters, GainsKeepTwelveBitsAtLeast) {
  for (double x : {1e-6, 0.013, 0.5, 3.0, 700.0, 8000.0}) {
    const cp_gain g = gain("x", x, 8191, "");
    EXPECT_NEAR(std::ldexp(g.factor, -static_cast<int>(g.shift)), x, x / 4096.0 + 0x1p-32);
  }
  EXPECT_THROW(gain("x", 9000.0, 8191, ""), std::invalid_argument);
}

TEST(Parameters, HeatMovesResistanceAndFlux) {
  const Plant plant = plant_parameters({}, {}, {}, {});
  const cp_command c = heat(plant, 1.2 * 0.054, 0.9, 7);
  const double ohm = plant.scale.volt / plant.scale.ampere;
  EXPECT_NEAR(
      std::ldexp(c.u.heat.resistance.factor, -static_cast<int>(c.u.heat.resistance.shift)) * ohm,
      1.2 * 0.054, 1e-5);
  EXPECT_NEAR(c.u.heat.flux_scale, 0.9 * plant.parameters.flux_scale, 0.51);
  EXPECT_THROW(heat(plant, 1.0, 1.0, 0), std::invalid_argument);
  EXPECT_THROW(heat(plant, 0.054, 3.0, 0), std::invalid_argument);
}

TEST(Parameters, OutputsAndTripHaveTheirRanges) {
  const Plant plant = plant_parameters({}, {}, {}, {});
  AngleOutputs o;
  o.encoder_lines = 20000;
  EXPECT_THROW(angle_parameters(o, 4, plant.scale), std::invalid_argument);
  EXPECT_THROW(trip_parameters(CP_TRIP_LINK, 1e4, 1e-6, plant), std::invalid_argument);
  EXPECT_THROW(sense_channel({CP_SENSE_BUS, 0.04, 6.0, 5.0, 12}, plant.scale),
               std::invalid_argument);
  EXPECT_THROW(piece(plant.scale, {0.0, 1e6, 0.0}, 0), std::invalid_argument);
  EXPECT_THROW(supply(plant.scale, -1.0, 0), std::invalid_argument);
  Timing timing;
  timing.report_steps = 0;
  EXPECT_THROW(core_parameters(plant, timing, {}, {}, {}, {}), std::invalid_argument);
}

}  // namespace
}  // namespace stillrotor::io::coprocessor
