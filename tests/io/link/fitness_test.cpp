// What a chip may say of itself, and what is refused with which remedy.
#include "io/link/fitness.hpp"

#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include <functional>

#include "tests/io/link/support/board.hpp"

namespace stillrotor::io {
namespace {

using ::testing::HasSubstr;

class Fitness : public ::testing::Test {
 protected:
  Fitness() {
    config.settings = board_settings();
    config.stamp_resolution_s = 40e-9;
    config.stamp_jitter_s = 12e-9;
    status.chip = {1,      1,           LF_CHIP, Board::tick_Hz,    40'000,
                   12'000, CP_CHANNELS, 0x7f,    LF_PARAMETER_BYTES};
  }
  std::string said(const std::function<void(LinkStatus&)>& change, const std::string& path) {
    LinkStatus changed = status;
    change(changed);
    try {
      require_fit(config, changed);
    } catch (const ConfigError& error) {
      EXPECT_EQ(error.path, path);
      return error.what();
    }
    return "nothing";
  }
  LinkConfig config;
  LinkStatus status;
};

TEST_F(Fitness, PassesAChipThatFitsAndOneThatHasSaidNothing) {
  EXPECT_NO_THROW(require_fit(config, status));
  EXPECT_NO_THROW(require_fit(config, LinkStatus{}));
}

TEST_F(Fitness, RefusesAChipThatIsAnother) {
  const std::string address = "controller.link.address";
  EXPECT_THAT(said([](auto& s) { s.chip.tick_Hz = 133'000'000; }, "controller.link.tick"),
              HasSubstr("the chip counts at 133 MHz; allowed the same"));
  EXPECT_THAT(said([](auto& s) { s.chip.lowest_version = s.chip.highest_version = 2; }, address),
              HasSubstr("versions 2 to 2"));
  EXPECT_THAT(said([](auto& s) { s.chip.parameter_bytes = 900; }, address), HasSubstr("900 bytes"));
  EXPECT_THAT(said([](auto& s) { s.chip.channels = 0; }, address), HasSubstr("which has 0"));
  EXPECT_THAT(said([](auto& s) { s.chip.lines &= ~std::uint32_t{CP_ENCODER_B}; }, address),
              HasSubstr("the line encoder.B, and the chip has none"));
  EXPECT_THAT(said([](auto& s) { s.last_refusal = LF_BAD_PARAMETERS; }, address),
              HasSubstr("refuses the parameters"));
  EXPECT_THAT(said([](auto& s) { s.unfit = true; }, address), HasSubstr("no co-processor"));
}

TEST_F(Fitness, RefusesStampsThatAreWorseThanDeclared) {
  EXPECT_THAT(
      said([](auto& s) { s.chip.resolution_ps = 100'000; }, "controller.link.stamp_resolution"),
      HasSubstr("is 40 ns, and the chip's is 100 ns"));
  EXPECT_THAT(said([](auto& s) { s.chip.jitter_ps = 50'000; }, "controller.link.stamp_jitter"),
              HasSubstr("Write it into the bench"));
  EXPECT_EQ(said([](auto& s) { s.chip.jitter_ps = 5'000; }, ""), "nothing") << "better is no harm";
}

TEST_F(Fitness, SaysWhyThereIsNoLink) {
  config.address = "udp:192.168.7.2:4500";
  EXPECT_THAT(no_answer(config, LinkStatus{}, "Connection refused").what(),
              HasSubstr("no co-processor has answered there within 5 s (Connection refused)"));
  EXPECT_THAT(no_answer(config, status, "").what(), HasSubstr("does not come to run"));
}

}  // namespace
}  // namespace stillrotor::io
