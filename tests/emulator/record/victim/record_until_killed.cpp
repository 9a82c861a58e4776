// record_until_killed FOLDER: records frames and edges at the pace of the wall clock, for ever.
// Signal `speed` is the time since the start, so that a reader can tell how far the record came.
#include <chrono>
#include <filesystem>
#include <fstream>
#include <thread>

#include "emulator/record/recorder.hpp"

int main(int argc, char** argv) {
  using namespace stillrotor;
  if (argc != 2) return 2;
  RecordHeader header;
  header.bench = "killed";
  header.rate_Hz = 20e3;
  Recorder recorder(argv[1], header);
  recorder.mark(MarkKind::action, 0, "started", "");
  std::ofstream(std::filesystem::path(argv[1]) / "recording");
  constexpr std::int64_t grid_ps = 50'000'000;
  const auto start = std::chrono::steady_clock::now();
  for (std::int64_t k = 0;; ++k) {
    std::this_thread::sleep_until(start + std::chrono::microseconds(50 * (k + 1)));
    recorder.edge({k * grid_ps + grid_ps / 2, static_cast<std::uint16_t>(k % 6), k / 6 % 2 == 0});
    Frame frame;
    frame.at_ps = (k + 1) * grid_ps;
    frame.value[static_cast<std::size_t>(Signal::speed)] = static_cast<float>(k + 1);
    recorder.frame(frame);
  }
}
