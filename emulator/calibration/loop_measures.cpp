#include "emulator/calibration/loop_measures.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <cmath>

namespace stillrotor {
namespace {

constexpr std::int64_t ms_ns = 1'000'000;
constexpr std::int64_t come_in_ns = 50 * ms_ns;  // what an edge may take from its wire to a read
constexpr int patience = 200;  // looks for an edge that takes longer: half a second in all
constexpr std::int64_t sleep_over_ns = 200'000;  // shorter waits are spent awake
constexpr double golden = 0.6180339887498949;    // visits every phase of any other period
constexpr double step_up = 1.5;
constexpr int halvings = 4;  // of the step in which loss began: to a tenth or so

io::Level level(bool high) { return high ? io::Level::high : io::Level::low; }
double seconds(io::Time t) { return 1e-12 * static_cast<double>(t.count()); }
double seconds(std::int64_t ns) { return 1e-9 * static_cast<double>(ns); }

/// One edge sent alone, or many at once: what came of it, from the call to the stamp.
struct Trial {
  double call_s, delay_s;
};

/// Without those that something else of this computer interrupted.
std::vector<Trial> undisturbed(std::vector<Trial> trials) {
  if (trials.empty()) return trials;
  std::vector<double> calls;
  for (const Trial& trial : trials) calls.push_back(trial.call_s);
  std::nth_element(calls.begin(), calls.begin() + static_cast<std::ptrdiff_t>(calls.size() / 2),
                   calls.end());
  const double most = 3.0 * calls[calls.size() / 2] + 2e-6;
  std::erase_if(trials, [most](const Trial& trial) { return trial.call_s > most; });
  return trials;
}

double mean(const std::vector<Trial>& trials) {
  double sum = 0.0;
  for (const Trial& trial : trials) sum += trial.delay_s;
  return sum / static_cast<double>(trials.size());
}
double squares_about(const std::vector<Trial>& trials, double middle) {
  double sum = 0.0;
  for (const Trial& trial : trials) sum += (trial.delay_s - middle) * (trial.delay_s - middle);
  return sum;
}

class Loop {
 public:
  Loop(HeldLines& lines, std::span<const LoopPair> pairs, const LoopSettings& settings)
      : lines_(lines), pairs_(pairs), settings_(settings) {}

  LoopMeasures all() {
    for (const LoopPair& pair : pairs_) lines_.hold(pair.output, io::Level::low);
    lines_.write();
    pause();
    for (const LoopPair& pair : pairs_) one_line(pair);
    found_.jitter_s = std::sqrt(squares_ / static_cast<double>(std::max(degrees_, 1)));
    all_at_once();
    refuse_a_disturbed_computer();
    rates();
    lines_.release_all();
    lines_.write();
    return std::move(found_);
  }

 private:
  void pause() {
    lines_.wait(come_in_ns);
    lines_.take();
  }
  std::int64_t next_wait() {
    dither_ = std::fmod(dither_ + golden, 1.0);
    return settings_.spacing_ns +
           static_cast<std::int64_t>(dither_ * 0.5 * static_cast<double>(settings_.spacing_ns));
  }

  /// After a write: a wait for each edge of it, so that no queue fills up, and then what came.
  /// Edges that take longer are waited for.
  std::vector<io::Edge> answers(std::size_t wanted) {
    for (std::size_t k = 0; k < wanted; ++k) lines_.wait(next_wait());
    std::vector<io::Edge> came = lines_.take();
    for (int tries = 0; came.size() < wanted && tries < patience; ++tries) {
      lines_.wait(come_in_ns / 20);
      const std::vector<io::Edge> more = lines_.take();
      came.insert(came.end(), more.begin(), more.end());
    }
    return came;
  }

  void one_line(const LoopPair& pair) {
    std::array<std::vector<Trial>, 2> by_direction;  // fall, rise
    for (int k = 0; k < 2 * settings_.toggles; ++k) {
      const bool high = k % 2 == 0;
      lines_.hold(pair.output, level(high));
      const HeldLines::Write call = lines_.write();
      const std::vector<io::Edge> came = answers(1);
      if (came.size() != 1 || came[0].line != pair.input ||
          came[0].level != level(high != pair.inverts))
        throw MeasurementFailed(
            fmt::format("{} was driven once and {} edges came, where {} should have had one. The "
                        "wire is loose, "
                        "picks up its neighbours, or rises too slowly: look at it with an "
                        "oscilloscope. Or this "
                        "computer is too busy: see `stillrotor host`. Then calibrate again.",
                        io::name(pair.output), came.size(), io::name(pair.input)));
      by_direction[high ? 1 : 0].push_back({seconds(call.returned_ns - call.called_ns),
                                            seconds(came[0].at) - seconds(call.called_ns)});
    }
    LineDelay line{pair.output, pair.input};
    double squares = 0.0;
    int degrees = 0;
    for (std::size_t d = 0; d < 2; ++d) {
      const std::vector<Trial> trials = keep(by_direction[d]);
      const double middle = mean(trials);
      (d == 1 ? line.rise_s : line.fall_s) = middle;
      squares += squares_about(trials, middle);
      degrees += static_cast<int>(trials.size()) - 1;
    }
    line.jitter_s = std::sqrt(squares / std::max(degrees, 1));
    squares_ += squares;
    degrees_ += degrees;
    found_.lines.push_back(line);
  }

  void all_at_once() {
    std::vector<Trial> trials;
    for (int k = 0; k < settings_.toggles; ++k) {
      for (const LoopPair& pair : pairs_) lines_.hold(pair.output, level(k % 2 == 0));
      const HeldLines::Write call = lines_.write();
      io::Time last{};
      const std::vector<io::Edge> came = answers(pairs_.size());
      if (came.size() != pairs_.size())
        throw MeasurementFailed(fmt::format(
            "{} lines were driven at once and {} edges came. The lines disturb each other: shorter "
            "wires, a ground beside each, a resistor in series; then calibrate again.",
            pairs_.size(), came.size()));
      for (const io::Edge& edge : came) last = std::max(last, edge.at);
      trials.push_back(
          {seconds(call.returned_ns - call.called_ns), seconds(last) - seconds(call.called_ns)});
    }
    found_.write_s = mean(keep(trials));
    if (found_.write_s <= 0.0)
      throw MeasurementFailed(
          "Edges carry stamps from before they were sent: this computer's clocks disagree. Read "
          "`cat /sys/devices/system/clocksource/*/current_clocksource`; wanted tsc or "
          "arch_sys_counter.");
    // The next begins with all lines low.
    for (const LoopPair& pair : pairs_) lines_.hold(pair.output, io::Level::low);
    lines_.write();
    pause();
  }

  std::vector<Trial> keep(const std::vector<Trial>& trials) {
    std::vector<Trial> kept = undisturbed(trials);
    found_.writes += static_cast<std::int64_t>(trials.size());
    found_.interrupted += static_cast<std::int64_t>(trials.size() - kept.size());
    return kept;
  }

  void refuse_a_disturbed_computer() const {
    if (10 * found_.interrupted > found_.writes)
      throw MeasurementFailed(
          fmt::format("This computer was busy with something else in {} of {} writes. See "
                      "`stillrotor host`, make it quiet, then calibrate again.",
                      found_.interrupted, found_.writes));
  }

  struct Stage {
    double sent_per_s = 0.0;
    std::uint64_t wrong = 0;  // edges that did not come, or came without being sent
    bool kept_up = false;     // they were sent as fast as asked
  };

  /// One edge a write, the lines in turn, evenly in time.
  Stage stage(double rate_per_s) {
    const io::WireCounts before = lines_.counts();
    const auto count =
        std::min(settings_.most_in_stage,
                 static_cast<std::int64_t>(std::max(rate_per_s * settings_.stage_s, 200.0)));
    std::array<std::int64_t, io::line_count> balance{};
    std::array<bool, io::line_count> high{};
    const std::int64_t begin = lines_.now_ns() + ms_ns;
    lines_.wait_until(begin);
    for (std::int64_t k = 0; k < count; ++k) {
      await(begin + static_cast<std::int64_t>(static_cast<double>(k) * 1e9 / rate_per_s), k);
      const LoopPair& pair = pairs_[static_cast<std::size_t>(k) % pairs_.size()];
      bool& up = high[io::index(pair.output)];
      up = !up;
      lines_.hold(pair.output, level(up));
      lines_.write();
      ++balance[io::index(pair.input)];
    }
    const double took_s = seconds(lines_.now_ns() - begin);
    lines_.wait(come_in_ns);
    for (const io::Edge& edge : lines_.take()) --balance[io::index(edge.line)];
    Stage result;
    result.sent_per_s = static_cast<double>(count) / took_s;
    result.kept_up = result.sent_per_s > 0.9 * rate_per_s;
    for (const std::int64_t missing : balance)
      result.wrong += static_cast<std::uint64_t>(std::abs(missing));
    if (result.wrong > 0) {
      const std::uint64_t told = lines_.counts().lost_edges - before.lost_edges;
      const bool shown = told >= result.wrong;
      found_.loss = shown && found_.loss != LossNotice::not_all_shown ? LossNotice::all_shown
                                                                      : LossNotice::not_all_shown;
    }
    for (const LoopPair& pair : pairs_) lines_.hold(pair.output, io::Level::low);
    lines_.write();
    pause();
    return result;
  }

  void await(std::int64_t due_ns, std::int64_t count) {
    if (due_ns - lines_.now_ns() > sleep_over_ns) lines_.wait_until(due_ns - sleep_over_ns / 2);
    if (lines_.now_ns() >= due_ns && count % 256 != 0) return;
    do lines_.turn();
    while (lines_.now_ns() < due_ns);
  }

  void rates() {
    double good = 0.0;
    for (double rate = settings_.slowest_per_s; rate <= settings_.fastest_per_s; rate *= step_up) {
      const Stage result = stage(rate);
      if (result.wrong > 0) {
        if (good <= 0.0)
          throw MeasurementFailed(fmt::format(
              "{} edges went astray at {:g} edges/s already. Look for slow slopes, a busy core "
              "(controller.capture_core), interrupts of others; then calibrate again.",
              result.wrong, rate));
        found_.edges_per_s = narrow(good, result.sent_per_s);
        return;
      }
      good = std::max(good, result.sent_per_s);
      if (!result.kept_up) break;
    }
    found_.edges_per_s = good;
    found_.more_not_sent = true;
  }

  double narrow(double good, double bad) {
    for (int k = 0; k < halvings; ++k) {
      const Stage result = stage(std::sqrt(good * bad));
      if (result.wrong > 0)
        bad = std::min(bad, result.sent_per_s);
      else
        good = std::max(good, result.sent_per_s);
      if (bad <= good) break;
    }
    return good;
  }

  HeldLines& lines_;
  std::span<const LoopPair> pairs_;
  const LoopSettings& settings_;
  LoopMeasures found_;
  double squares_ = 0.0, dither_ = 0.0;
  int degrees_ = 0;
};

}  // namespace

LoopMeasures measure_loop(HeldLines& lines, std::span<const LoopPair> pairs,
                          const LoopSettings& settings) {
  return Loop(lines, pairs, settings).all();
}

}  // namespace stillrotor
