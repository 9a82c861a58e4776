// Every kind of machine, bridge, supply, load and sensor runs through the real program in a shipped
// bench and scenario, and passes.
#include <gmock/gmock.h>

#include "tests/emulator/cli/program_runner.hpp"

namespace stillrotor::test {
namespace {

struct Pairing {
  const char *bench, *scenario;
};

class ShippedBench : public ProgramTest, public testing::WithParamInterface<Pairing> {};

TEST_P(ShippedBench, Passes) {
  const std::string configs = STILLROTOR_SOURCE_DIR "/configs/";
  const Answer answer =
      call({"run", configs + "benches/" + GetParam().bench + ".yaml",
            configs + "scenarios/" + GetParam().scenario + ".yaml", "--out", "kept"});
  EXPECT_EQ(answer.status, 0) << answer.out << answer.err;
}

INSTANTIATE_TEST_SUITE_P(
    Kinds, ShippedBench,
    testing::Values(Pairing{"orchard-cart-pedals", "pedal-and-motor"},
                    Pairing{"orchard-cart-slip", "wet-grass"}, Pairing{"orchard-fan", "spin-up"},
                    Pairing{"orchard-sprinkler", "spin-up"},
                    Pairing{"orchard-pump", "well-pump-run"}, Pairing{"orchard-sorter", "spin-up"},
                    Pairing{"orchard-hoist", "lift-a-crate"},
                    Pairing{"dynamometer-mid", "held-speed"}, Pairing{"locked-mid", "locked-rotor"},
                    Pairing{"orchard-cart-hub-delta", "first-drive"},
                    Pairing{"orchard-cart-hub-measured", "first-drive"},
                    Pairing{"orchard-cart-hub-aged-pack", "first-drive"},
                    Pairing{"orchard-cart-mid-saturated", "first-drive"},
                    Pairing{"orchard-cart-mid", "joint-goes-bad"},
                    Pairing{"orchard-cart-mid-chopper", "first-drive"},
                    Pairing{"orchard-cart-mid-supply-lines", "first-drive"},
                    Pairing{"orchard-cart-mid-igbt", "first-drive"},
                    Pairing{"orchard-cart-mid-driver", "first-drive"},
                    Pairing{"orchard-cart-mid-full", "first-drive"},
                    Pairing{"orchard-cart-mid-hostfw", "first-drive"}),
    [](const auto& one) {
      std::string name = one.param.bench;
      for (char& c : name)
        if (c == '-') c = '_';
      return name;
    });

}  // namespace
}  // namespace stillrotor::test
