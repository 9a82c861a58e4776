// Variables of a firmware that a simulated controller reads out while it runs.
// Virtual time only: values gather in memory that grows.
#pragma once

#include <cstdint>
#include <cstring>
#include <functional>
#include <limits>
#include <string>
#include <utility>
#include <vector>

#include "io/connector.hpp"

namespace stillrotor::io::mcu {

enum class VariableType : std::uint8_t { int8, uint8, int16, uint16, int32, uint32, float32 };
constexpr std::uint32_t bytes_of(VariableType type) noexcept {
  constexpr std::uint32_t bytes[] = {1, 1, 2, 2, 4, 4, 4};
  return bytes[static_cast<std::size_t>(type)];
}

/// A variable of the firmware's file.
struct Variable {
  std::string name;
  std::uint32_t address, bytes;
};
struct WatchedPlace {
  std::uint32_t address;
  VariableType type;
};

/// Values at (k + 1) / rate_Hz, as a record has them; not a number while the processor is off. A
/// value is that at the first instruction's end at or after its moment.
class WatchedValues {
 public:
  WatchedValues(std::vector<WatchedPlace> places, double rate_Hz)
      : places_(std::move(places)), rate_Hz_(rate_Hz), values_(places_.size()) {}

  /// The next moment to read at.
  Time next() const noexcept {
    const auto point = static_cast<double>(points_ + 1);
    return Time(static_cast<std::int64_t>(point / rate_Hz_ * 1e12 + 0.5));
  }
  /// Takes that moment's values; peek: the bytes at an address, nullptr: none.
  template <class Peek>
  void take(const Peek& peek) {
    for (std::size_t k = 0; k < places_.size(); ++k) {
      const std::uint8_t* const bytes = peek(places_[k]);
      values_[k].push_back(bytes == nullptr ? nothing : value(bytes, places_[k].type));
    }
    ++points_;
  }
  /// Nothing could be read until then.
  void skip_to(Time now) {
    while (next() < now) take([](const WatchedPlace&) { return nullptr; });
  }
  const std::vector<std::vector<float>>& values() const noexcept { return values_; }

 private:
  static constexpr float nothing = std::numeric_limits<float>::quiet_NaN();
  template <class T>
  static float as(const std::uint8_t* bytes) noexcept {
    T value;
    std::memcpy(&value, bytes, sizeof value);
    return static_cast<float>(value);
  }
  static float value(const std::uint8_t* bytes, VariableType type) noexcept {
    switch (type) {
      case VariableType::int8:
        return as<std::int8_t>(bytes);
      case VariableType::uint8:
        return as<std::uint8_t>(bytes);
      case VariableType::int16:
        return as<std::int16_t>(bytes);
      case VariableType::uint16:
        return as<std::uint16_t>(bytes);
      case VariableType::int32:
        return as<std::int32_t>(bytes);
      case VariableType::uint32:
        return as<std::uint32_t>(bytes);
      default:
        return as<float>(bytes);
    }
  }

  std::vector<WatchedPlace> places_;
  double rate_Hz_;
  std::size_t points_ = 0;
  std::vector<std::vector<float>> values_;
};

/// A simulated controller whose variables can be read.
class Watchable {
 public:
  /// Those in its memory, by its file.
  virtual std::vector<Variable> variables() const = 0;
  /// Before the first power(); the values outlive this, and grow while it runs.
  virtual void watch(WatchedValues&) noexcept = 0;

 protected:
  ~Watchable() = default;
};

}  // namespace stillrotor::io::mcu
