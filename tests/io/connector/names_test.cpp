// Names of lines and channels, and the table of backends.
#include <gtest/gtest.h>

#include <set>

#include "io/backends.hpp"

namespace stillrotor::io {
namespace {

// The spellings are the contract (bench files use them), so they are written out here.
TEST(ConnectorNames, AreTheOnesBenchFilesUse) {
  EXPECT_EQ(name(line::gate_UH), "gates.UH");
  EXPECT_EQ(name(line::gate_WL), "gates.WL");
  EXPECT_EQ(name(line::hall_V), "hall.V");
  EXPECT_EQ(name(line::encoder_Z), "encoder.Z");
  EXPECT_EQ(name(line::reverse), "reverse");
  EXPECT_EQ(name(line::contactor), "contactor");
  EXPECT_EQ(name(line::brake_chopper), "brake_chopper");
  EXPECT_EQ(name(channel::throttle), "throttle");
  EXPECT_EQ(name(channel::phase_current_W), "phase_current.W");
  EXPECT_EQ(name(channel::bus_voltage), "bus_voltage");
}

TEST(ConnectorNames, LeadBackToTheSameLine) {
  std::set<std::string_view> seen;
  for (std::uint16_t k = 0; k < line_count; ++k) {
    seen.insert(name(LineId{k}));
    EXPECT_EQ(find_line(name(LineId{k})), LineId{k});
  }
  EXPECT_EQ(seen.size(), line_count);
}

TEST(ConnectorNames, LeadBackToTheSameChannel) {
  std::set<std::string_view> seen;
  for (std::uint16_t k = 0; k < channel_count; ++k) {
    seen.insert(name(ChannelId{k}));
    EXPECT_EQ(find_channel(name(ChannelId{k})), ChannelId{k});
  }
  EXPECT_EQ(seen.size(), channel_count);
}

TEST(ConnectorNames, AreNotFoundWhenMisspelt) {
  for (const char* wrong : {"", "gates.uh", "gates.UH ", "gates", "hall.X", "throttle"})
    EXPECT_FALSE(find_line(wrong)) << wrong;
  for (const char* wrong : {"", "phase_current", "phase_current.X", "key"})
    EXPECT_FALSE(find_channel(wrong)) << wrong;
}

TEST(Backends, AreListedOnceEachWithAClockAndASummary) {
  std::set<std::string_view> seen;
  for (const Backend& b : backends()) {
    EXPECT_TRUE(seen.insert(b.name).second) << b.name;
    EXPECT_TRUE(b.clock == "virtual" || b.clock == "wall") << b.name;
    EXPECT_FALSE(b.summary.empty());
  }
  EXPECT_TRUE(seen.contains("standin"));
  EXPECT_TRUE(seen.contains("mcu"));
  EXPECT_TRUE(seen.contains("capture"));
  EXPECT_TRUE(seen.contains("gpiod"));
  EXPECT_TRUE(seen.contains("polled"));
  EXPECT_TRUE(seen.contains("link"));
}

TEST(Backends, AnAvrIsSimulatedOrTheBuildSaysHowToGetThat) {
  try {
    make_controller(McuConfig{});
    FAIL() << "built a controller without firmware";
  } catch (const ConfigError& e) {
    const bool lacks = std::string_view(e.what()).find("libsimavr-dev") != std::string_view::npos;
    EXPECT_EQ(e.path, lacks ? "controller.part" : "controller.firmware") << e.what();
  }
}

TEST(Backends, OnRealWiresAreNoSimulatedControllersAndTheOtherWayRound) {
  EXPECT_THROW(make_controller(PolledConfig{}), ConfigError);
  EXPECT_THROW(make_controller(GpiodConfig{}), ConfigError);
  EXPECT_THROW(make_controller(LinkConfig{}), ConfigError);
  EXPECT_THROW(make_wired_controller(LinkConfig{}), ConfigError) << "nothing is worked out";
  EXPECT_EQ(make_wired_controller(SixStepConfig{}), nullptr);
}

}  // namespace
}  // namespace stillrotor::io
