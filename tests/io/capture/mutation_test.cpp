// A recording with wrong bytes is replayed or refused, never anything else.
#include <gtest/gtest.h>

#include <random>

#include "io/capture/capture.hpp"
#include "recording.hpp"

namespace stillrotor::io::test {
namespace {

std::string sound_recording() {
  std::string text =
      header("10 ns") +
      "$comment six-step $end\n#0\n$dumpvars\n0A\n0B\n0C\n1D\n0E\n0F\n1G\nxH\nzI\n$end\n";
  for (int k = 1; k < 40; ++k)
    text += "#" + std::to_string(k * 6250) + "\n" + (k % 2 ? "1A\n" : "0A\n") +
            (k % 7 ? "" : "b1 G\n") + (k % 11 ? "" : "0G\n");
  return text;
}

// 10,000 mutants of a sound recording, seed 1: bytes changed, cut out, doubled, inserted. Some are
// still recordings (a changed time, a changed name in a comment): those must run to their end.
TEST(CaptureMutations, TenThousandMutantsAreRefusedInWordsOrReplayed) {
  std::mt19937 random(1);
  const std::string sound = sound_recording();
  const Recording recording(sound);
  const auto config = config_for(recording.path());
  ASSERT_EQ(refusal(config), "");
  const std::string interesting =
      std::string("#$bBrx0z19\n\r \t!AEZ[]:.-", 24) + '\0' + '\xff' + '\x7f';
  int refused = 0, replayed = 0;
  for (int mutant = 0; mutant < 10'000; ++mutant) {
    std::string bytes = sound;
    const auto below = [&](std::size_t n) { return random() % n; };
    for (std::size_t change = 0, changes = 1 + below(4); change < changes && !bytes.empty();
         ++change) {
      const std::size_t at = below(bytes.size());
      switch (below(5)) {
        case 0:
          bytes[at] = static_cast<char>(random());
          break;
        case 1:
          bytes[at] = interesting[below(interesting.size())];
          break;
        case 2:
          bytes.erase(at, 1 + below(20));
          break;
        case 3:
          bytes.insert(at, bytes.substr(at, 1 + below(60)));
          break;
        case 4:
          bytes.insert(at, 1 + below(30), interesting[below(interesting.size())]);
          break;
      }
    }
    recording.replace(bytes);
    try {
      CaptureReplay replay(config);
      replay.motion({});
      Bench bench;
      replay.power(5.0, Time{}, bench);
      const Time end(static_cast<std::int64_t>(replay.survey().length_s * 1e12) + 2);
      run_until(replay, end);
      EXPECT_EQ(replay.health(), Health::exited) << mutant;
      ++replayed;
    } catch (const ConfigError& error) {
      EXPECT_FALSE(error.path.empty());
      EXPECT_GT(std::string(error.what()).size(), 20u) << mutant;
      ++refused;
    }
  }
  // Both happen, or the mutants test nothing.
  EXPECT_GT(refused, 1000);
  EXPECT_GT(replayed, 200);
}

}  // namespace
}  // namespace stillrotor::io::test
