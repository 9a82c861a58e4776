// Which routes can be rehearsed, and what is refused.
#include "emulator/rehearsal/route.hpp"

#include <gmock/gmock.h>
#include <unistd.h>

#include <filesystem>
#include <fstream>

#include "emulator/bench/input_error.hpp"
#include "emulator/budget/routes.hpp"

namespace stillrotor::test {
namespace {

using testing::HasSubstr;

TEST(RehearsalRoutes, HaveTheLimitsThatTheBudgetDeclares) {
  const Bench bench;
  const io::LineRoute gpiod = declared_routes("gpiod", bench)->lines;
  for (const char* name : {"gpio-v1", "gpio-v2"}) {
    const RehearsedRoute route = rehearsed_route(name, bench);
    EXPECT_EQ(route.lines.edges_in_per_s, gpiod.edges_in_per_s);
    EXPECT_EQ(route.lines.stamp_jitter_s, gpiod.stamp_jitter_s);
    EXPECT_EQ(route.lines.write_s, gpiod.write_s);
  }
  EXPECT_FALSE(rehearsed_route("gpio-v1", bench).lines.finds_loss);
  EXPECT_TRUE(rehearsed_route("gpio-v2", bench).lines.finds_loss);
  EXPECT_DOUBLE_EQ(rehearsed_route("sampled-5us", bench).sampled_s, 5e-6 * 1.000037);
  EXPECT_EQ(rehearsed_route("sampled-5us", bench).lines.stamp_jitter_s, 0.0);
}

TEST(RehearsalRoutes, AnUnknownOneIsRefusedWithTheOnesThereAre) {
  try {
    rehearsed_route("gpio", Bench{});
    FAIL();
  } catch (const InputError& error) {
    EXPECT_THAT(error.messages.front(), HasSubstr("gpio-v1, gpio-v2, polled"));
    EXPECT_THAT(error.messages.front(), HasSubstr("--calibrate"));
  }
}

TEST(RehearsalRoutes, WritesThatDoNotFitIntoTheCycleAreRefused) {
  Bench bench;
  bench.cycle.period_s = 2e-6;  // gpiod takes 3 us a write
  EXPECT_THROW(rehearsed_route("gpio-v2", bench), io::ConfigError);
}

TEST(RehearsalRoutes, ACalibrationsFigureTakesTheDeclaredOnesPlace) {
  LineCalibration found;
  found.bench = "Small";
  found.date = "2026-01-02T03:04:05Z";
  found.kernel = "a kernel";
  found.backend = "gpiod";
  found.route = "lines";
  found.edges_in_per_s = 50e3;
  found.stamp_jitter_s = 5e-6;
  found.write_s = 7e-6;
  found.loss = LossNotice::not_all_shown;
  found.skew.push_back({io::line::gate_UH, io::line::hall_U, 500e-9, 100e-9, 1e-6});
  found.wires["gates.UH"] = "gpiochip0 line 1";
  std::string file = (std::filesystem::temp_directory_path() / "calibration-XXXXXX").string();
  close(mkstemp(file.data()));
  std::ofstream(file) << calibration_yaml(found);
  const RehearsedRoute route = rehearsed_route(file, Bench{});
  std::filesystem::remove(file);
  EXPECT_EQ(route.lines.edges_in_per_s, 50e3);
  EXPECT_DOUBLE_EQ(route.lines.stamp_jitter_s, 5e-6);
  EXPECT_DOUBLE_EQ(route.lines.write_s, 7e-6);
  EXPECT_FALSE(route.lines.finds_loss);
  EXPECT_NEAR(route.skew_left_s[io::index(io::line::gate_UH)], 200e-9, 1e-12);
  EXPECT_THAT(route.lines.grounds, HasSubstr("measured on 2026-01-02"));
}

}  // namespace
}  // namespace stillrotor::test
