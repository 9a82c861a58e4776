#include "emulator/bench/line_calibration.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <array>
#include <variant>

#include "emulator/bench/nearest.hpp"
#include "emulator/bench/resolved_yaml.hpp"
#include "emulator/bench/units.hpp"
#include "emulator/bench/yaml_tree.hpp"

namespace stillrotor {
namespace {

constexpr std::array<std::string_view, 3> loss_words{"not_provoked", "all_shown", "not_all_shown"};
constexpr std::string_view again = "Calibrate again: stillrotor check BENCH --calibrate FILE.";

std::string us(double s) { return fmt::format("{:.4g} us", 1e6 * s); }

/// One map of the file; what is wrong with it goes to problems.
class Section {
 public:
  Section(const YamlNode& node, std::string name, std::vector<std::string> known,
          Problems& problems)
      : node_(node), name_(std::move(name)), problems_(problems) {
    if (node.kind != YamlNode::Kind::map) {
      problems_.add(node.place,
                    fmt::format("{} is no map; allowed: {}. {}", name_, list(known), again));
      return;
    }
    for (const auto& [key, value] : node.entries)
      if (std::find(known.begin(), known.end(), key.text) == known.end())
        problems_.add(key.place, fmt::format("{} is no key of {}.{}", key.text, name_,
                                             suggestion(key.text, known)));
  }

  const YamlNode* value(std::string_view key) {
    if (node_.kind != YamlNode::Kind::map) return nullptr;
    const YamlNode* found = node_.find(key);
    if (found == nullptr)
      problems_.add(node_.place, fmt::format("{} has no {}. {}", name_, key, again));
    return found;
  }
  std::string text(std::string_view key) {
    const YamlNode* found = value(key);
    if (found == nullptr) return {};
    if (found->kind == YamlNode::Kind::scalar && !found->text.empty() && found->text.size() <= 200)
      return found->text;
    problems_.add(found->place,
                  fmt::format("{} is no text; allowed 1 to 200 characters. {}", key, again));
    return {};
  }
  double quantity(std::string_view key, Family family, double least, double most,
                  std::string_view range) {
    const YamlNode* found = value(key);
    if (found == nullptr) return 0.0;
    const Conversion read = to_si(found->text, family);
    if (!read)
      problems_.add(found->place, fmt::format("{}: {}. {}", key, read.problem, again));
    else if (!(read.si >= least && read.si <= most))
      problems_.add(found->place, fmt::format("{} is {}; allowed {}: no line is like that. {}", key,
                                              found->text, range, again));
    return read.si;
  }
  double time(std::string_view key, double least_s, double most_s, std::string_view range) {
    return quantity(key, Family::time, least_s, most_s, range);
  }
  bool on_off(std::string_view key) {
    const YamlNode* found = value(key);
    if (found == nullptr) return false;
    if (found->text != "on" && found->text != "off")
      problems_.add(found->place,
                    fmt::format("{} is {}; allowed on, off. {}", key, found->text, again));
    return found->text == "on";
  }

 private:
  static std::string list(const std::vector<std::string>& words) {
    std::string all;
    for (const std::string& word : words) all += (all.empty() ? "" : ", ") + word;
    return all;
  }

  const YamlNode& node_;
  std::string name_;
  Problems& problems_;
};

void read_limits(const YamlNode& node, LineCalibration& to, Problems& problems) {
  Section limits(node, "limits", {"edges_in", "more_not_sent", "stamp_jitter", "write", "loss"},
                 problems);
  to.edges_in_per_s = limits.quantity("edges_in", Family::slew, 100.0, 1e9, "100 /s to 1e9 /s");
  to.more_not_sent = limits.on_off("more_not_sent");
  to.stamp_jitter_s = limits.time("stamp_jitter", 0.0, 10e-3, "0 s to 10 ms");
  to.write_s = limits.time("write", 1e-9, 10e-3, "1 ns to 10 ms");
  const YamlNode* loss = limits.value("loss");
  if (loss == nullptr) return;
  const auto found = std::find(loss_words.begin(), loss_words.end(), loss->text);
  if (found == loss_words.end())
    problems.add(loss->place, fmt::format("loss is {}; allowed {}, {}, {}. {}", loss->text,
                                          loss_words[0], loss_words[1], loss_words[2], again));
  else
    to.loss = static_cast<LossNotice>(found - loss_words.begin());
}

void read_skew(const YamlNode& node, LineCalibration& to, Problems& problems) {
  if (node.kind != YamlNode::Kind::map || node.entries.empty()) {
    problems.add(node.place, fmt::format("skew names no line. {}", again));
    return;
  }
  for (const auto& [key, value] : node.entries) {
    Section section(value, "skew." + key.text, {"by", "rise", "fall", "jitter"}, problems);
    LineCalibration::Skew skew;
    const std::string by = section.text("by");
    const auto input = io::find_line(key.text), output = io::find_line(by);
    if (!input || !io::from_controller(*input))
      problems.add(key.place,
                   fmt::format("{} is no line that the bench reads; allowed gates.UH ... gates.WL "
                               "and the controller's other outputs. {}",
                               key.text, again));
    if (!by.empty() && (!output || io::from_controller(*output)))
      problems.add(value.place, fmt::format("{} is no line that the bench drives. {}", by, again));
    skew.input = input.value_or(io::LineId{});
    skew.output = output.value_or(io::LineId{});
    skew.rise_s = section.time("rise", -skew_most_s, skew_most_s, "-10 us to 10 us");
    skew.fall_s = section.time("fall", -skew_most_s, skew_most_s, "-10 us to 10 us");
    skew.jitter_s = section.time("jitter", 0.0, 10e-3, "0 s to 10 ms");
    to.skew.push_back(skew);
  }
}

void read_wires(const YamlNode& node, LineCalibration& to, Problems& problems) {
  if (node.kind != YamlNode::Kind::map) {
    problems.add(node.place, fmt::format("wires is no map of lines. {}", again));
    return;
  }
  for (const auto& [key, value] : node.entries) {
    if (!io::find_line(key.text))
      problems.add(key.place, fmt::format("{} is no line of the connector. {}", key.text, again));
    to.wires[key.text] = value.text;
  }
}

}  // namespace

std::string bench_end(const io::ControllerConfig& controller, io::LineId line) {
  if (const auto* gpiod = std::get_if<io::GpiodConfig>(&controller)) {
    const io::GpiodLine& at = gpiod->lines[io::index(line)];
    if (!at.wired()) return {};
    return at.name.empty() ? fmt::format("{} line {}", at.chip, at.offset) : at.name;
  }
  if (const auto* polled = std::get_if<io::PolledConfig>(&controller))
    if (const io::PolledLine& at = polled->lines[io::index(line)]; at.wired())
      return fmt::format("bit {}", at.bit);
  if (std::holds_alternative<io::LinkConfig>(controller)) return "co-processor";
  return {};
}

std::map<std::string, std::string> bench_ends(const io::ControllerConfig& controller) {
  std::map<std::string, std::string> ends;
  for (std::uint16_t k = 0; k < io::line_count; ++k)
    if (std::string end = bench_end(controller, io::LineId{k}); !end.empty())
      ends[std::string(io::name(io::LineId{k}))] = std::move(end);
  return ends;
}

std::string calibration_yaml(const LineCalibration& c) {
  std::string text = fmt::format(
      "# Measured by loop-back, for controller.calibration of this bench on this computer.\n"
      "calibration: {}\n"
      "date: {}\n"
      "kernel: {}\n"
      "real_time: {}\n"
      "backend: {}\n"
      "route: {}\n"
      "limits:\n"
      "  edges_in: {:.4g} /s\n"
      "  more_not_sent: {}\n"
      "  stamp_jitter: {}\n"
      "  write: {}\n"
      "  loss: {}\n"
      "skew:\n",
      yaml_scalar(c.bench), yaml_scalar(c.date), yaml_scalar(c.kernel), c.real_time ? "on" : "off",
      c.backend, yaml_scalar(c.route), c.edges_in_per_s, c.more_not_sent ? "on" : "off",
      us(c.stamp_jitter_s), us(c.write_s), loss_words[static_cast<std::size_t>(c.loss)]);
  for (const LineCalibration::Skew& skew : c.skew)
    text += fmt::format("  {}: {{by: {}, rise: {}, fall: {}, jitter: {}}}\n", io::name(skew.input),
                        io::name(skew.output), us(skew.rise_s), us(skew.fall_s), us(skew.jitter_s));
  text += "wires:\n";
  for (const auto& [line, end] : c.wires) text += fmt::format("  {}: {}\n", line, yaml_scalar(end));
  return text;
}

LineCalibration read_calibration(const std::filesystem::path& file, const std::string& shown,
                                 const Place& asked_at) {
  const YamlNode root = read_yaml(file, shown, asked_at);
  Problems problems;
  LineCalibration c;
  Section top(
      root, "the calibration",
      {"calibration", "date", "kernel", "real_time", "backend", "route", "limits", "skew", "wires"},
      problems);
  c.bench = top.text("calibration");
  c.date = top.text("date");
  c.kernel = top.text("kernel");
  c.real_time = top.on_off("real_time");
  c.backend = top.text("backend");
  c.route = top.text("route");
  if (const YamlNode* limits = top.value("limits")) read_limits(*limits, c, problems);
  if (const YamlNode* skew = top.value("skew")) read_skew(*skew, c, problems);
  if (const YamlNode* wires = top.value("wires")) read_wires(*wires, c, problems);
  problems.throw_if_any();
  return c;
}

std::string mismatch(const LineCalibration& c, std::string_view backend,
                     const io::ControllerConfig& controller) {
  if (c.backend != backend)
    return fmt::format("measured with backend {}; allowed {}, which this bench uses. {}", c.backend,
                       backend, again);
  const auto ends = bench_ends(controller);
  for (const auto& [line, end] : ends) {
    const auto measured = c.wires.find(line);
    if (measured == c.wires.end())
      return fmt::format("measured without {}, which this bench has at {}. {}", line, end, again);
    if (measured->second != end)
      return fmt::format("measured with {} at {}; allowed {}, where this bench has it. {}", line,
                         measured->second, end, again);
  }
  for (const auto& [line, end] : c.wires)
    if (!ends.contains(line))
      return fmt::format("measured with {} at {}, which this bench does not have. {}", line, end,
                         again);
  return {};
}

}  // namespace stillrotor
