// Records with known contents: signals as functions of time, gates as lists of edges.
#pragma once

#include <algorithm>
#include <cmath>
#include <functional>
#include <map>
#include <optional>
#include <string>
#include <tuple>
#include <vector>

#include "emulator/judge/judge.hpp"
#include "emulator/record/record_reader.hpp"
#include "emulator/record/recorder.hpp"
#include "tests/emulator/record/scratch_folder.hpp"

namespace stillrotor::testing {

using Wave = std::function<double(double t_s)>;

class SyntheticRecord {
 public:
  explicit SyntheticRecord(double lasts_s = 1.0, double rate_Hz = 20e3) : lasts_s_(lasts_s) {
    header_.clock = "virtual";
    header_.bench = "synthetic";
    header_.scenario = "known";
    header_.rate_Hz = rate_Hz;
    header_.pole_pairs = 4;
  }

  SyntheticRecord& machine(const RecordedMachine& constants) {
    header_.machine = constants;
    return *this;
  }
  SyntheticRecord& losses(const RecordedLosses& there) {
    header_.losses = there;
    return *this;
  }
  /// Least and greatest of a bin are taken from `inside` instants of it, both ends among them.
  SyntheticRecord& signal(Signal signal, Wave wave, int inside = 20) {
    waves_[signal] = {std::move(wave), inside};
    return *this;
  }
  SyntheticRecord& constant(Signal which, double value) {
    return signal(
        which, [value](double) { return value; }, 1);
  }
  SyntheticRecord& edge(std::uint16_t line, std::int64_t at_ps, bool high) {
    edges_.push_back({at_ps, line, high});
    return *this;
  }
  SyntheticRecord& pulse(std::uint16_t line, std::int64_t on_ps, std::int64_t off_ps) {
    return edge(line, on_ps, true).edge(line, off_ps, false);
  }
  SyntheticRecord& initially_high(int line) {
    header_.initial_lines_high[line / 8] =
        static_cast<std::uint8_t>(header_.initial_lines_high[line / 8] | 1 << line % 8);
    return *this;
  }
  SyntheticRecord& mark(MarkKind kind, std::int64_t at_ps, std::string name,
                        std::string detail = "", std::int64_t to_ps = 0) {
    marks_.push_back({kind, at_ps, to_ps, std::move(name), std::move(detail)});
    return *this;
  }
  SyntheticRecord& cut_short() {
    finished_ = false;
    return *this;
  }

  /// Writes it (once) and reads it.
  const RecordReader& read() {
    if (!reader_) {
      write();
      reader_.emplace(folder_.path());
    }
    return *reader_;
  }
  const std::filesystem::path& folder() const { return folder_.path(); }

 private:
  struct Sampled {
    Wave wave;
    int inside = 20;
  };

  Frame frame(std::int64_t k) const {
    Frame frame;
    frame.at_ps = std::llround(static_cast<double>(k + 1) / header_.rate_Hz * 1e12);
    for (const auto& [signal, sampled] : waves_) {
      const auto index = static_cast<std::size_t>(signal);
      const double step_s = 1.0 / header_.rate_Hz;
      frame.value[index] = static_cast<float>(sampled.wave(static_cast<double>(k + 1) * step_s));
      if (index >= spread_count) continue;
      double least = HUGE_VAL, greatest = -HUGE_VAL;
      double sum = 0.0, squares = 0.0, before = 0.0;
      for (int n = 0; n <= sampled.inside; ++n) {
        const double value =
            sampled.wave((static_cast<double>(k) + double(n) / sampled.inside) * step_s);
        if (n > 0) squares += (before * before + before * value + value * value) / 3.0;
        before = value;
        sum += (n == 0 || n == sampled.inside ? 0.5 : 1.0) * value;
        least = std::min(least, value);
        greatest = std::max(greatest, value);
      }
      frame.least[index] = static_cast<float>(least);
      frame.greatest[index] = static_cast<float>(greatest);
      const auto also = [&](Signal of, double over_bin) {
        frame.value[static_cast<std::size_t>(of)] = static_cast<float>(over_bin / sampled.inside);
      };
      if (signal == Signal::torque) also(Signal::torque_mean, sum);
      if (signal == Signal::bus_current) also(Signal::bus_current_mean, sum);
      if (signal == Signal::current_U) also(Signal::current_square_U, squares);
      if (signal == Signal::current_V) also(Signal::current_square_V, squares);
      if (signal == Signal::current_W) also(Signal::current_square_W, squares);
    }
    return frame;
  }

  void write() {
    std::stable_sort(edges_.begin(), edges_.end(),
                     [](const LineEdge& a, const LineEdge& b) { return a.at_ps < b.at_ps; });
    Recorder recorder(folder_.path(), header_);
    for (const LineEdge& edge : edges_) recorder.edge(edge);
    for (const RecordedMark& mark : marks_) {
      recorder.mark(mark.kind, mark.at_ps, mark.name, mark.detail, mark.to_ps);
    }
    const auto frames = std::llround(lasts_s_ * header_.rate_Hz);
    for (std::int64_t k = 0; k < frames; ++k) recorder.frame(frame(k));
    if (finished_) recorder.finish(std::llround(lasts_s_ * 1e12));
  }

  double lasts_s_;
  RecordHeader header_;
  std::map<Signal, Sampled> waves_;
  std::vector<LineEdge> edges_;
  std::vector<RecordedMark> marks_;
  bool finished_ = true;
  ScratchFolder folder_;
  std::optional<RecordReader> reader_;
};

inline constexpr std::int64_t us = 1'000'000, ms = 1'000'000'000, s = 1'000'000'000'000;
inline Window window(double from_s, double to_s = -1.0, std::string after = "") {
  return {from_s, to_s, std::move(after)};
}
inline Window after(std::string event) { return {0.0, -1.0, std::move(event)}; }

inline constexpr double pi = 3.14159265358979323846;

}  // namespace stillrotor::testing
