#include "emulator/cli/variable_list.hpp"

#include <fmt/format.h>

#include "emulator/cli/variable_names.hpp"
#include "emulator/cli/watched_place.hpp"

namespace stillrotor {
namespace {

using io::mcu::Member;
using io::mcu::TypeIndex;
using io::mcu::ValueType;
using io::mcu::Variable;
using io::mcu::Variables;

constexpr std::size_t most_rows = 20'000;
constexpr int deepest = 16;
constexpr std::size_t most_visits = 1'000'000;  // of a damaged file that refers to itself

class Rows {
 public:
  explicit Rows(const Variables& variables) : variables_(variables) {}

  std::vector<std::vector<std::string>> all() {
    for (const Variable& v : variables_.all) {
      const std::string name = shortest_name(v, variables_);
      if (v.type)
        expand(name, *v.type, v.address, 0, 0);
      else
        add(name, fmt::format("not known, {} bytes", v.bytes), v.address);
    }
    if (left_out_ != 0) rows_.push_back({fmt::format("{} more are left out", left_out_), "", ""});
    return std::move(rows_);
  }

 private:
  void add(const std::string& name, const std::string& type, std::uint64_t address) {
    if (rows_.size() <= most_rows)
      rows_.push_back({name, type, fmt::format("0x{:08x}", address)});
    else
      ++left_out_;
  }

  /// address: of the first element where the path passes arrays.
  void expand(const std::string& path, TypeIndex index, std::uint64_t address, unsigned bits,
              int depth) {
    const ValueType& type = variables_.types[index];
    if (depth == deepest || ++visits_ > most_visits) return;
    switch (type.kind) {
      case ValueType::Kind::number:
        return add(path, describe_number(type, bits), address);
      case ValueType::Kind::structure:
        for (const Member& m : type.members)
          expand(m.name.empty() ? path : path + "." + m.name, m.type, address + m.offset, m.bits,
                 depth + 1);
        return;
      case ValueType::Kind::array:
        if (type.count == 0) return add(path, describe(index, variables_), address);
        return expand(
            type.count == 1 ? path + "[0]" : fmt::format("{}[0..{}]", path, type.count - 1),
            type.element, address, 0, depth + 1);
      case ValueType::Kind::other:
        return add(path, type.name + ", not recorded", address);
    }
  }

  const Variables& variables_;
  std::vector<std::vector<std::string>> rows_{{"variable", "type", "address"}};
  std::size_t left_out_ = 0, visits_ = 0;
};

}  // namespace

std::vector<std::vector<std::string>> variable_rows(const Variables& variables) {
  return Rows(variables).all();
}

}  // namespace stillrotor
