// Variables of a firmware that a simulated controller reads out while it runs.
// Virtual time only: values gather in memory that grows.
#pragma once

#include <cstdint>
#include <cstring>
#include <limits>
#include <utility>
#include <vector>

#include "io/connector.hpp"
#include "io/mcu/image/variables.hpp"

namespace stillrotor::io::mcu {

/// A number in the firmware's memory.
struct WatchedPlace {
  std::uint32_t address = 0;
  VariableType type = VariableType::float32;
  std::uint8_t bit = 0, bits = 0;  // of an integer's part, from bit on; 0: all of it

  std::uint32_t bytes() const noexcept {
    return bits == 0 ? bytes_of(type) : (bit + bits + 7u) / 8;
  }
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
      values_[k].push_back(bytes == nullptr ? nothing : value(bytes, places_[k]));
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
  static float value(const std::uint8_t* bytes, const WatchedPlace& place) noexcept {
    if (place.bits != 0) return part(bytes, place);
    switch (place.type) {
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
      case VariableType::int64:
        return as<std::int64_t>(bytes);
      case VariableType::uint64:
        return as<std::uint64_t>(bytes);
      case VariableType::float64:
        return as<double>(bytes);
      default:
        return as<float>(bytes);
    }
  }
  /// Moved to the upper end, then down again: the sign comes with it.
  static float part(const std::uint8_t* bytes, const WatchedPlace& place) noexcept {
    std::uint64_t word = 0;
    std::memcpy(&word, bytes, place.bytes());
    word <<= 64 - place.bit - place.bits;
    return is_signed(place.type)
               ? static_cast<float>(static_cast<std::int64_t>(word) >> (64 - place.bits))
               : static_cast<float>(word >> (64 - place.bits));
  }

  std::vector<WatchedPlace> places_;
  double rate_Hz_;
  std::size_t points_ = 0;
  std::vector<std::vector<float>> values_;
};

/// A simulated controller whose variables can be read.
class Watchable {
 public:
  /// Those in its memory, by its file. Throws ConfigError.
  virtual Variables variables() const = 0;
  /// Before the first power(); the values outlive this, and grow while it runs.
  virtual void watch(WatchedValues&) noexcept = 0;

 protected:
  ~Watchable() = default;
};

}  // namespace stillrotor::io::mcu
