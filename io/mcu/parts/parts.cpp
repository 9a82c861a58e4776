#include "io/mcu/parts/part.hpp"

namespace stillrotor::io::mcu {
namespace {

constexpr const Part* all[] = {&atmega328p, &atmega8};

}  // namespace

std::span<const Part* const> parts() noexcept { return all; }

const Part* find_part(std::string_view name) noexcept {
  for (const Part* part : all)
    if (part->name == name) return part;
  return nullptr;
}

std::string part_names() {
  std::string names;
  for (const Part* part : all) {
    if (!names.empty()) names += ", ";
    names += part->name;
  }
  return names;
}

}  // namespace stillrotor::io::mcu
