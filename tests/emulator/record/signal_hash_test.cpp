// The hash speaks for the signals alone: not for threads, not for how they were interleaved.
#include <gtest/gtest.h>

#include <bit>
#include <chrono>
#include <thread>

#include "emulator/record/recorder.hpp"
#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor {
namespace {

using testing::ScratchFolder;

constexpr std::int64_t grid_ps = 50'000'000;

struct Change {
  std::size_t frame = std::size_t(-1);  // whose ...
  std::size_t signal = 0;               // ... value has its lowest bit flipped
  std::size_t edge = std::size_t(-1);   // that comes a picosecond late
};

/// Records 40,000 frames and 80,000 edges; `pause_every` frames the producer sleeps.
std::string hash_of_run(const Change& change, std::size_t pause_every = 0,
                        bool edges_first = true) {
  const ScratchFolder folder;
  Recorder recorder(folder.path(), {});
  const auto edges_of = [&](std::size_t k) {
    for (std::size_t e = 0; e < 2; ++e) {
      const std::size_t number = 2 * k + e;
      const std::int64_t late = number == change.edge ? 1 : 0;
      recorder.edge(
          {static_cast<std::int64_t>(k) * grid_ps + 1000 * (1 + static_cast<int>(e)) + late,
           static_cast<std::uint16_t>(number % 6), k % 2 == 0});
    }
  };
  for (std::size_t k = 0; k < 40'000; ++k) {
    if (edges_first) edges_of(k);
    Frame frame;
    frame.at_ps = static_cast<std::int64_t>(k + 1) * grid_ps;
    for (std::size_t s = 0; s < signal_count; ++s) frame.value[s] = static_cast<float>(k ^ s);
    if (k == change.frame) {
      float& value = frame.value[change.signal];
      value = std::bit_cast<float>(std::bit_cast<std::uint32_t>(value) ^ 1U);
    }
    recorder.frame(frame);
    if (!edges_first) edges_of(k);
    if (pause_every != 0 && k % pause_every == 0) {
      std::this_thread::sleep_for(std::chrono::milliseconds(30));
    }
  }
  return recorder.finish(40'000 * grid_ps).signals_xxh128;
}

TEST(SignalHash, IsEqualForEqualRunsWhateverTheThreadsDo) {
  const std::string hash = hash_of_run({});
  EXPECT_EQ(hash.size(), 32U);
  EXPECT_EQ(hash_of_run({}), hash);
  // 40 pauses of 30 ms: two flushes to the disk fall into the run.
  EXPECT_EQ(hash_of_run({}, 1000), hash);
  EXPECT_EQ(hash_of_run({}, 0, false), hash);
}

TEST(SignalHash, ChangesWithOneBitOfOneValueAndWithOnePicosecondOfOneEdge) {
  const std::string hash = hash_of_run({});
  EXPECT_NE(hash_of_run({.frame = 0, .signal = 0}), hash);
  EXPECT_NE(hash_of_run({.frame = 39'999, .signal = signal_count - 1}), hash);
  EXPECT_NE(hash_of_run({.edge = 79'999}), hash);
}

}  // namespace
}  // namespace stillrotor
