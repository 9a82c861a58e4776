#include "emulator/bench/csv_table.hpp"

#include <fmt/format.h>

#include <charconv>
#include <cmath>
#include <fstream>

namespace stillrotor {
namespace {

constexpr std::uintmax_t most_bytes = 4 << 20;
constexpr std::size_t most_rows = 200'000;

std::string_view trimmed(std::string_view text) {
  const auto first = text.find_first_not_of(" \t\r");
  if (first == std::string_view::npos) return {};
  return text.substr(first, text.find_last_not_of(" \t\r") - first + 1);
}

std::vector<std::string_view> cells(std::string_view line) {
  std::vector<std::string_view> out;
  for (;;) {
    const auto comma = line.find(',');
    out.push_back(trimmed(line.substr(0, comma)));
    if (comma == std::string_view::npos) return out;
    line.remove_prefix(comma + 1);
  }
}

class Reader {
 public:
  Reader(const std::filesystem::path& path, std::span<const CsvColumn> asked, Problems& problems)
      : asked_(asked), problems_(problems) {
    table_.file = std::make_shared<const std::string>(path.string());
    table_.columns.resize(asked.size());
    table_.families.resize(asked.size());
  }

  std::optional<CsvTable> read(std::istream& stream) {
    int number = 0;
    bool headed = false;
    for (std::string line; std::getline(stream, line);) {
      ++number;
      const std::string_view text = trimmed(std::string_view(line).substr(0, line.find('#')));
      if (text.empty()) continue;
      if (!headed) {
        if (!head(text, number)) return {};
        headed = true;
      } else if (!row(text, number)) {
        return {};
      }
    }
    if (table_.lines.empty()) return wrong(number, "there are no numbers in it"), std::nullopt;
    return std::move(table_);
  }

 private:
  bool wrong(int line, const std::string& what) {
    std::string form;
    for (const CsvColumn& column : asked_)
      form += fmt::format("{}{} [{}]", form.empty() ? "" : ", ", column.name,
                          si_unit(column.families.front()));
    problems_.add(
        {table_.file, line, 1},
        fmt::format("{}; due are numbers, comma-separated, under the line \"{}\".", what, form));
    return false;
  }

  bool head(std::string_view text, int line) {
    const auto titles = cells(text);
    count_ = titles.size();
    for (std::size_t k = 0; k < asked_.size(); ++k) {
      bool found = false;
      for (std::size_t c = 0; c < titles.size(); ++c) {
        const auto open = titles[c].find('[');
        if (trimmed(titles[c].substr(0, open)) != asked_[k].name) continue;
        if (open == std::string_view::npos || titles[c].back() != ']')
          return wrong(line, fmt::format("the column {} has no unit", asked_[k].name));
        const auto unit = titles[c].substr(open + 1, titles[c].size() - open - 2);
        std::string problem;
        for (const Family family : asked_[k].families) {
          const Conversion one = to_si(unit.empty() ? "1" : fmt::format("1 {}", unit), family);
          problem = one.problem;
          if (!one) continue;
          table_.families[k] = family;
          scale_.push_back(one.si);
          break;
        }
        if (!problem.empty())
          return wrong(line, fmt::format("the column {}: {}", asked_[k].name, problem));
        where_.push_back(c);
        found = true;
        break;
      }
      if (!found) return wrong(line, fmt::format("there is no column {}", asked_[k].name));
    }
    return true;
  }

  bool row(std::string_view text, int line) {
    const auto values = cells(text);
    if (values.size() != count_)
      return wrong(line, fmt::format("{} values under {} titles", values.size(), count_));
    if (table_.lines.size() == most_rows)
      return wrong(line, fmt::format("more than {} rows", most_rows));
    for (std::size_t k = 0; k < asked_.size(); ++k) {
      const std::string_view cell = values[where_[k]];
      double number = 0.0;
      const auto [rest, error] = std::from_chars(cell.data(), cell.data() + cell.size(), number);
      if (error != std::errc{} || rest != cell.data() + cell.size() || !std::isfinite(number))
        return wrong(line, fmt::format("{} is \"{}\"", asked_[k].name, cell.substr(0, 40)));
      table_.columns[k].push_back(number * scale_[k]);
    }
    table_.lines.push_back(line);
    return true;
  }

  std::span<const CsvColumn> asked_;
  Problems& problems_;
  CsvTable table_;
  std::vector<std::size_t> where_;
  std::vector<double> scale_;
  std::size_t count_ = 0;
};

}  // namespace

Place CsvTable::at(std::size_t row) const { return {file, lines[row], 1}; }

std::optional<CsvTable> read_csv(const std::filesystem::path& path, const Place& asked_at,
                                 std::span<const CsvColumn> asked, Problems& problems) {
  std::error_code error;
  const auto refuse = [&](std::string_view why) {
    problems.add(asked_at,
                 fmt::format("{}: {}; allowed a table of at most 4 MiB.", path.string(), why));
    return std::nullopt;
  };
  if (!std::filesystem::is_regular_file(path, error)) return refuse("there is no such file");
  if (std::filesystem::file_size(path, error) > most_bytes) return refuse("it is too large");
  std::ifstream stream(path, std::ios::binary);
  if (!stream) return refuse("it cannot be read");
  return Reader(path, asked, problems).read(stream);
}

}  // namespace stillrotor
