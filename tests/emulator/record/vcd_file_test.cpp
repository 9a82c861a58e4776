// The dump's text, by a writer of the test's own: numbers by the standard library.
#include "emulator/record/vcd_file.hpp"

#include <gtest/gtest.h>

#include <fstream>
#include <iterator>
#include <random>
#include <string>
#include <vector>

#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor {
namespace {

std::string content(const std::filesystem::path& file) {
  std::ifstream stream(file, std::ios::binary);
  return {std::istreambuf_iterator<char>(stream), {}};
}

std::string expected_text(const std::vector<LineEdge>& edges, std::int64_t end_ps) {
  std::string text;
  std::int64_t last_ps = 0;
  for (const LineEdge& edge : edges) {
    if (edge.at_ps != last_ps) text += "#" + std::to_string(edge.at_ps) + "\n";
    last_ps = edge.at_ps;
    text += std::string(edge.level != 0 ? "1" : "0") + static_cast<char>('!' + edge.line) + "\n";
  }
  return text + "#" + std::to_string(end_ps) + "\n";
}

// Steps from 0 ps to hours, so that times of every length occur, with runs of zeros and nines in
// them and several edges at one instant; far more text than the writer's buffer holds.
TEST(VcdFile, WritesEveryTimeToThePicosecond) {
  const testing::ScratchFolder folder;
  std::mt19937_64 random(11);
  std::vector<LineEdge> edges;
  std::int64_t at_ps = 0;
  for (const std::int64_t step : {1LL, 1'000LL, 1'000'000LL, 50'000'000LL, 99'999'999LL,
                                  100'000'000LL, 1'000'000'000LL, 3'600'000'000'000LL}) {
    for (int k = 0; k < 10'000; ++k) {
      at_ps += k % 3 == 0   ? 0
               : k % 3 == 1 ? step
                            : static_cast<std::int64_t>(random() % (2 * step));
      edges.push_back(
          {at_ps, static_cast<std::uint16_t>(k % 15), static_cast<std::uint8_t>(k & 1)});
    }
  }
  const std::int64_t end_ps = at_ps + 5;
  const auto file = folder.path() / "gates.vcd";
  {
    VcdFile dump(file, 0);
    // In blocks of all sizes, none included.
    std::size_t done = 0;
    for (std::size_t size = 0; done < edges.size(); size = (size + 37) % 601) {
      const std::size_t count = std::min(size, edges.size() - done);
      dump.add({edges.data() + done, count});
      done += count;
    }
    dump.finish(end_ps);
  }
  const std::string text = content(file);
  const std::string head_ends = "$dumpvars\n";
  const auto begin = text.find("$end\n", text.find(head_ends)) + 5;
  EXPECT_TRUE(text.substr(begin) == expected_text(edges, end_ps));  // megabytes: not to be printed
}

}  // namespace
}  // namespace stillrotor
