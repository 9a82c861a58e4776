#include "io/analog/iio_scan.hpp"

#include <algorithm>
#include <cstdio>
#include <stdexcept>

namespace stillrotor::io {

IioElement parse_iio_type(const std::string& type, int index) {
  char endian = 0, sign = 0;
  IioElement element{.index = index};
  int end = 0;
  const int read = std::sscanf(type.c_str(), "%ce:%c%d/%d>>%d%n", &endian, &sign, &element.bits,
                               &element.storage_bits, &element.shift, &end);
  const int storage = element.storage_bits;
  if (read != 5 || end == 0 || (endian != 'b' && endian != 'l') || (sign != 's' && sign != 'u') ||
      (storage != 8 && storage != 16 && storage != 32 && storage != 64) || element.bits < 1 ||
      element.shift < 0 || element.bits + element.shift > storage)
    throw std::invalid_argument("type '" + type +
                                "' is not understood; one value of 8, 16, 32 or 64 bits is, such "
                                "as le:u12/16>>4");
  element.big_endian = endian == 'b';
  element.is_signed = sign == 's';
  return element;
}

std::size_t lay_out(std::span<IioElement*> elements) {
  std::sort(elements.begin(), elements.end(),
            [](const IioElement* a, const IioElement* b) { return a->index < b->index; });
  const auto up_to = [](std::size_t at, std::size_t size) { return (at + size - 1) / size * size; };
  std::size_t at = 0, largest = 1;
  for (IioElement* element : elements) {
    const std::size_t size = static_cast<std::size_t>(element->storage_bits) / 8;
    element->offset = up_to(at, size);
    at = element->offset + size;
    largest = std::max(largest, size);
  }
  return up_to(at, largest);
}

std::int64_t count(const IioElement& element, const std::uint8_t* scan) noexcept {
  const int bytes = element.storage_bits / 8;
  std::uint64_t word = 0;
  for (int k = 0; k < bytes; ++k) {
    const int place = element.big_endian ? k : bytes - 1 - k;  // highest first
    word = word << 8 | scan[element.offset + static_cast<std::size_t>(place)];
  }
  word >>= element.shift;
  if (element.bits == 64) return static_cast<std::int64_t>(word);
  word &= (std::uint64_t{1} << element.bits) - 1;
  const bool negative = element.is_signed && (word >> (element.bits - 1) & 1) != 0;
  return static_cast<std::int64_t>(word) - (negative ? std::int64_t{1} << element.bits : 0);
}

}  // namespace stillrotor::io
