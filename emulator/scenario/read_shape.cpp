#include <fmt/format.h>

#include <algorithm>
#include <cmath>
#include <filesystem>
#include <fstream>
#include <iterator>

#include "emulator/bench/csv_table.hpp"
#include "emulator/bench/resolved_yaml.hpp"
#include "emulator/scenario/fields.hpp"
#include "emulator/scenario/keys.hpp"
#include "emulator/scenario/readers.hpp"

namespace stillrotor {
namespace {

constexpr double longest_s = 3600.0;

class ShapeReader {
 public:
  ShapeReader(const YamlNode& node, const ShapedQuantity& quantity, Problems& problems)
      : node_(node),
        quantity_(quantity),
        problems_(problems),
        fields_(node, fmt::format("the shape of {}", quantity.name), keys_of("shape"), problems) {}

  std::optional<ReadShape> read() {
    const std::vector<std::string>& kinds = keys_of("shape");
    const auto said = std::count_if(kinds.begin(), kinds.end(),
                                    [&](const std::string& kind) { return fields_.has(kind); });
    if (said != 1) {
      problems_.add(
          node_.place,
          fmt::format("{} has {} of sine, noise, table; allowed exactly one. Write a value, "
                      "or for example {}: {{sine: {{...}}}}.",
                      quantity_.name, said, quantity_.name));
      return {};
    }
    const bool good = fields_.has("sine")    ? read_sine(*fields_.node("sine"))
                      : fields_.has("noise") ? read_noise(*fields_.node("noise"))
                                             : read_table();
    if (!good) return {};
    return std::move(read_);
  }

 private:
  /// Keys "size", rate and "for" of a sine or a noise.
  bool read_added(const YamlNode& node, Shape::Kind kind, const char* size, const char* rate,
                  double most_rate_Hz, std::string_view rates) {
    const std::string what = kind == Shape::Kind::sine ? "sine" : "noise";
    const std::vector<std::string>& keys = keys_of(what);
    const Fields fields(node, what, keys, problems_);
    bool good = true;
    for (const std::string& key : keys)
      if (!fields.has(key)) {
        problems_.add(node.place,
                      fmt::format("{} needs {}; it has {}, {} and for.", what, key, size, rate));
        good = false;
      }
    if (!good) return false;
    Shape& shape = read_.shape;
    shape.kind = kind;
    const auto value = read_size(fields, size);
    const auto frequency = fields.quantity(rate, Family::frequency, 1e-3, most_rate_Hz, rates);
    const auto lasts = fields.time_ps("for", 1e-6, longest_s, "1 us to 3600 s");
    if (!value || !frequency || !lasts) return false;
    shape.size = *value;
    shape.frequency_Hz = *frequency;
    shape.lasts_ps = *lasts;
    const std::string size_text = fields.text(size), rate_text = fields.text(rate),
                      for_text = fields.text("for");
    read_.label = fmt::format("{} {}, {}, for {}", what, size_text, rate_text, for_text);
    read_.written = flow_map(
        {{what, flow_map({{size, size_text}, {rate, rate_text}, {"for", for_text}}), true}});
    return true;
  }

  std::optional<double> read_size(const Fields& fields, const char* key) const {
    const double way = quantity_.most - quantity_.least;
    if (quantity_.is_throttle && fields.text(key).ends_with('%')) {
      auto share = fields.quantity(key, Family::ratio, 0.0, 1.0, "0 % to 100 %");
      if (share) *share *= quantity_.full - quantity_.idle;
      return share;
    }
    const bool warm = quantity_.family == Family::temperature;
    // A difference of temperatures has no zero to be counted from: 25 degC would be 298 K of them.
    const double most = warm ? std::min(0.5 * way, 200.0) : 0.5 * way;
    return fields.quantity(key, quantity_.family, 0.0, most,
                           warm ? std::string("0 K to 200 K, in K")
                                : fmt::format("0 to {}", shown_si(most, quantity_.family)));
  }

  bool read_sine(const YamlNode& node) {
    return read_added(node, Shape::Kind::sine, "amplitude", "frequency", 1e3, "1 mHz to 1 kHz");
  }

  bool read_noise(const YamlNode& node) {
    if (!read_added(node, Shape::Kind::noise, "rms", "bandwidth", 1e4, "1 mHz to 10 kHz"))
      return false;
    constexpr double most_points = 200'000.0;
    const double points =
        read_.shape.frequency_Hz * static_cast<double>(read_.shape.lasts_ps) * 1e-12 / 0.3189;
    if (points <= most_points) return true;
    problems_.add(node.place, fmt::format("noise needs {:.0f} points; allowed {:.0f}. Narrow its "
                                          "bandwidth, or shorten for.",
                                          points, most_points));
    return false;
  }

  bool read_table() {
    namespace fs = std::filesystem;
    const std::string file = fields_.text("table");
    if (file.empty()) return false;
    const Place asked_at = fields_.place_of("table");
    const fs::path folder = asked_at.file ? fs::path(*asked_at.file).parent_path() : fs::path();
    const fs::path path = (folder / file).lexically_normal();
    std::vector<Family> families{quantity_.family};
    if (quantity_.is_throttle) families.push_back(Family::ratio);
    const CsvColumn columns[] = {{"time", {Family::time}}, {quantity_.name, families}};
    auto table = read_csv(path, asked_at, columns, problems_);
    if (!table) return false;
    bool good = true;
    Shape& shape = read_.shape;
    shape.kind = Shape::Kind::table;
    std::int64_t before_ps = -1;
    for (std::size_t row = 0; row < table->lines.size(); ++row) {
      const double time_s = table->columns[0][row];
      double value = table->columns[1][row];
      const bool share = quantity_.is_throttle && table->families[1] == Family::ratio;
      if (share) value = quantity_.idle + value * (quantity_.full - quantity_.idle);
      const std::int64_t at_ps = std::abs(time_s) <= longest_s ? to_ps(time_s) : -1;
      if (at_ps <= before_ps) {
        good = false;
        problems_.add(table->at(row),
                      fmt::format("time is {:g} s; allowed 0 s to 3600 s, each later than the one "
                                  "before. Correct the row.",
                                  time_s));
      } else {
        before_ps = at_ps;
      }
      if (value < quantity_.least || value > quantity_.most) {
        good = false;
        problems_.add(table->at(row),
                      fmt::format("{} is {}; allowed {}. Correct the row.", quantity_.name,
                                  shown_si(value, quantity_.family), quantity_.allowed));
      }
      shape.points.push_back({at_ps, value});
    }
    shape.lasts_ps = before_ps;
    read_.label = fmt::format("table {}", file);
    read_.written = flow_map({{"table", std::string(table_stands_for), true}});
    std::ifstream text(path, std::ios::binary);
    read_.table.assign(std::istreambuf_iterator<char>(text), {});
    return good;
  }

  const YamlNode& node_;
  const ShapedQuantity& quantity_;
  Problems& problems_;
  Fields fields_;
  ReadShape read_;
};

}  // namespace

std::optional<ReadShape> read_shape(const YamlNode& node, const ShapedQuantity& quantity,
                                    Problems& problems) {
  return ShapeReader(node, quantity, problems).read();
}

}  // namespace stillrotor
