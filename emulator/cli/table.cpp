#include "emulator/cli/table.hpp"

#include <fmt/format.h>

#include <algorithm>

namespace stillrotor {

std::string table(const std::vector<std::vector<std::string>>& rows, std::size_t indent) {
  std::vector<std::size_t> width;
  for (const auto& row : rows) {
    width.resize(std::max(width.size(), row.size()));
    for (std::size_t k = 0; k < row.size(); ++k) width[k] = std::max(width[k], row[k].size());
  }
  std::string out;
  for (const auto& row : rows) {
    std::string line(indent, ' ');
    for (std::size_t k = 0; k < row.size(); ++k)
      line += fmt::format("{:<{}}  ", row[k], k + 1 < row.size() ? width[k] : 0);
    out += line.substr(0, line.find_last_not_of(' ') + 1) + '\n';
  }
  return out;
}

}  // namespace stillrotor
