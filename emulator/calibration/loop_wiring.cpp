#include "emulator/calibration/loop_wiring.hpp"

#include <fmt/format.h>
#include <fmt/ranges.h>

#include <algorithm>
#include <array>
#include <set>
#include <variant>

namespace stillrotor {
namespace {

constexpr std::int64_t ms_ns = 1'000'000;
constexpr std::int64_t settle_ns = 10 * ms_ns;  // longest that a wire with its resistors may take
constexpr std::int64_t quiet_ns = 100 * ms_ns;
constexpr int toggles = 4;

using io::LineId;

LineId line_id(std::size_t k) { return LineId(static_cast<std::uint16_t>(k)); }

/// Switches last: their lines are the likeliest to lead over a relay or an isolator.
constexpr std::array output_order{
    io::line::hall_U,       io::line::hall_V,     io::line::hall_W,
    io::line::encoder_A,    io::line::encoder_B,  io::line::encoder_Z,
    io::line::driver_fault, io::line::angle_data, io::line::command_pulse,
    io::line::speed_limit,  io::line::reverse,    io::line::brake,
    io::line::key};

bool has_wire(const io::ControllerConfig& controller, LineId line) {
  if (const auto* gpiod = std::get_if<io::GpiodConfig>(&controller))
    return gpiod->lines[io::index(line)].wired();
  if (const auto* polled = std::get_if<io::PolledConfig>(&controller))
    return polled->lines[io::index(line)].wired();
  return false;
}

std::vector<LineId> inputs_of(const Bench& bench) {
  std::vector<LineId> inputs;
  for (std::size_t k = 0; k < io::line_count; ++k)
    if (io::from_controller(line_id(k)) && has_wire(bench.controller, line_id(k)))
      inputs.push_back(line_id(k));
  return inputs;
}

/// How an input answered to an output's toggling.
enum class Answer : std::uint8_t { still, follows, opposes, unsteady };

using Answers = std::array<Answer, io::line_count>;

/// Of one half of a toggle: the edges that each input had, and how it then stood.
struct Half {
  std::array<int, io::line_count> edges{};
  std::array<bool, io::line_count> on{};
};

Half look(HeldLines& lines) {
  lines.wait(settle_ns);
  Half half;
  for (const io::Edge& edge : lines.take()) {
    ++half.edges[io::index(edge.line)];
    half.on[io::index(edge.line)] = edge.level == io::Level::high;
  }
  return half;
}

Answers toggle(HeldLines& lines, LineId output) {
  lines.hold(output, io::Level::low);
  lines.write();
  look(lines);
  std::array<int, io::line_count> edges{}, with{}, against{};
  for (int k = 0; k < 2 * toggles; ++k) {
    const bool high = k % 2 == 0;
    lines.hold(output, high ? io::Level::high : io::Level::low);
    lines.write();
    const Half half = look(lines);
    for (std::size_t j = 0; j < io::line_count; ++j) {
      edges[j] += half.edges[j];
      if (half.edges[j] == 1) ++(half.on[j] == high ? with : against)[j];
    }
  }
  lines.release_all();
  lines.write();
  look(lines);
  Answers answers{};
  for (std::size_t j = 0; j < io::line_count; ++j)
    answers[j] = edges[j] == 0               ? Answer::still
                 : edges[j] != 2 * toggles   ? Answer::unsteady
                 : with[j] == 2 * toggles    ? Answer::follows
                 : against[j] == 2 * toggles ? Answer::opposes
                                             : Answer::unsteady;
  return answers;
}

std::vector<std::string> noisy_inputs(HeldLines& lines) {
  lines.take();
  lines.wait(quiet_ns);
  std::array<int, io::line_count> edges{};
  for (const io::Edge& edge : lines.take()) ++edges[io::index(edge.line)];
  std::vector<std::string> found;
  for (std::size_t k = 0; k < io::line_count; ++k)
    if (edges[k] != 0)
      found.push_back(fmt::format(
          "{} moves {} times in {} ms while the bench drives nothing. Unplug the controller; give "
          "the wire a resistor that decides its level when nobody does.",
          io::name(line_id(k)), edges[k], quiet_ns / ms_ns));
  return found;
}

class Diagnosis {
 public:
  Diagnosis(std::span<const LoopPair> pairs, const std::vector<Answers>& answers)
      : pairs_(pairs), answers_(answers) {}

  std::vector<std::string> all() {
    for (std::size_t k = 0; k < pairs_.size(); ++k) one(k);
    return std::move(found_);
  }

 private:
  std::vector<LineId> moved(std::size_t k) const {
    std::vector<LineId> lines;
    for (std::size_t j = 0; j < io::line_count; ++j)
      if (answers_[k][j] != Answer::still) lines.push_back(line_id(j));
    return lines;
  }
  bool moves_only(std::size_t k, LineId input) const {
    const auto lines = moved(k);
    return lines.size() == 1 && lines[0] == input;
  }
  std::string wire(std::size_t k) const {
    return fmt::format("{} to {}", io::name(pairs_[k].output), io::name(pairs_[k].input));
  }
  void say(std::string sentence) { found_.push_back(std::move(sentence)); }

  void one(std::size_t k) {
    const LoopPair& pair = pairs_[k];
    const auto lines = moved(k);
    if (lines.empty())
      return say(fmt::format(
          "{}: nothing arrives. The wire is open or stuck, its level shifter has no supply or is "
          "not enabled, or one end is on another pin than the bench file says.",
          wire(k)));
    if (lines.size() > 1) return shorted(lines);
    if (lines[0] != pair.input) return astray(k, lines[0]);
    switch (answers_[k][io::index(pair.input)]) {
      case Answer::unsteady:
        return say(fmt::format(
            "{}: other edges arrive than were sent, {} times slowly. Look for a missing ground, a "
            "missing pull-up, a wire that rises too slowly, or a chip that loses close edges.",
            wire(k), 2 * toggles));
      case Answer::follows:
      case Answer::opposes:
        if ((answers_[k][io::index(pair.input)] == Answer::opposes) != pair.inverts)
          say(fmt::format(
              "{}: arrives inverted. Where an inverting buffer or transistor stands at one of the "
              "two lines, write inverted: on there; else look at harness.gates.active.",
              wire(k)));
        return;
      case Answer::still:
        return;
    }
  }

  void astray(std::size_t k, LineId input) {
    for (std::size_t other = 0; other < pairs_.size(); ++other)
      if (pairs_[other].input == input && moves_only(other, pairs_[k].input)) {
        if (other > k)
          say(
              fmt::format("{} and {} are swapped. Exchange the two wires, or their lines in the "
                          "bench file.",
                          wire(k), wire(other)));
        return;
      }
    say(
        fmt::format("{} arrives at {} in the place of {}. Move the wire, or correct the lines in "
                    "the bench file.",
                    io::name(pairs_[k].output), io::name(input), io::name(pairs_[k].input)));
  }

  void shorted(const std::vector<LineId>& lines) {
    if (!told_.insert(lines).second) return;
    std::vector<std::string_view> names;
    for (const LineId line : lines) names.push_back(io::name(line));
    say(
        fmt::format("{} move together. Their wires touch, or two of them share an end; part them "
                    "before anything else is driven.",
                    fmt::join(names, ", ")));
  }

  std::span<const LoopPair> pairs_;
  const std::vector<Answers>& answers_;
  std::set<std::vector<LineId>> told_;
  std::vector<std::string> found_;
};

}  // namespace

std::vector<LoopPair> loop_pairs(const Bench& bench) {
  std::vector<LoopPair> pairs;
  const std::vector<LineId> inputs = inputs_of(bench);
  for (const LineId output : output_order)
    if (pairs.size() < inputs.size() && has_wire(bench.controller, output)) {
      const LineId input = inputs[pairs.size()];
      pairs.push_back({output, input, !bench.harness.lines[io::index(input)].active_high});
    }
  return pairs;
}

std::vector<LineId> unpaired_inputs(const Bench& bench, std::span<const LoopPair> pairs) {
  std::vector<LineId> inputs = inputs_of(bench);
  inputs.erase(inputs.begin(), inputs.begin() + static_cast<std::ptrdiff_t>(pairs.size()));
  return inputs;
}

io::ControllerConfig loop_back(const io::ControllerConfig& controller) {
  io::ControllerConfig changed = controller;
  const auto each_on_its_own = [](auto* config) {
    if (config == nullptr) return;
    config->gates = io::GateWires::six;
    config->dead_time_s = 0.0;
  };
  each_on_its_own(std::get_if<io::GpiodConfig>(&changed));
  each_on_its_own(std::get_if<io::PolledConfig>(&changed));
  return changed;
}

std::vector<std::string> check_loop(HeldLines& lines, std::span<const LoopPair> pairs) {
  lines.release_all();
  lines.write();
  lines.wait(quiet_ns);
  if (auto noisy = noisy_inputs(lines); !noisy.empty()) return noisy;
  std::vector<Answers> answers;
  for (const LoopPair& pair : pairs) answers.push_back(toggle(lines, pair.output));
  return Diagnosis(pairs, answers).all();
}

}  // namespace stillrotor
