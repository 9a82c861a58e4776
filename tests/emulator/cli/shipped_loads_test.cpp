// Every kind of load runs through the real program in its shipped bench and scenario, and passes.
#include <gmock/gmock.h>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

struct Pairing {
  const char *bench, *scenario;
};

class ShippedLoad : public ProgramTest, public testing::WithParamInterface<Pairing> {};

TEST_P(ShippedLoad, Passes) {
  const std::string configs = STILLROTOR_SOURCE_DIR "/configs/";
  const Answer answer =
      call({"run", configs + "benches/" + GetParam().bench + ".yaml",
            configs + "scenarios/" + GetParam().scenario + ".yaml", "--out", "kept"});
  EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
}

INSTANTIATE_TEST_SUITE_P(Loads, ShippedLoad,
                         testing::Values(Pairing{"orchard-cart-pedals", "pedal-and-motor"},
                                         Pairing{"orchard-cart-slip", "wet-grass"},
                                         Pairing{"orchard-fan", "spin-up"},
                                         Pairing{"orchard-pump", "spin-up"},
                                         Pairing{"orchard-well-pump", "well-pump-run"},
                                         Pairing{"orchard-sorter", "spin-up"},
                                         Pairing{"orchard-hoist", "lift-a-crate"},
                                         Pairing{"dynamometer-mid", "held-speed"},
                                         Pairing{"locked-mid", "locked-rotor"}),
                         [](const auto& one) {
                           std::string name = one.param.bench;
                           for (char& c : name)
                             if (c == '-') c = '_';
                           return name;
                         });

}  // namespace
}  // namespace stillrotor::test
