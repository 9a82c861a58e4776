// How a buffered IIO device packs one scan: what its sysfs says, and values from its bytes.
// Source  the kernel's documentation of the IIO buffer interface (scan_elements/*_type is
//         [be|le]:[s|u]bits/storagebits>>shift): every element stands at a multiple of its own
//         size, in the order of the indices, and the scan is as long as its largest element asks.
// Errors  parsing throws std::invalid_argument. RT: count() is safe.
#pragma once

#include <cstdint>
#include <span>
#include <string>
#include <vector>

namespace stillrotor::io {

struct IioElement {
  int index = 0;  // its place in the order
  bool big_endian = false, is_signed = false;
  int bits = 12, storage_bits = 16, shift = 0;
  std::size_t offset = 0;  // bytes from the scan's begin, see lay_out()
};

/// Of the text of a scan element's `type` file.
IioElement parse_iio_type(const std::string& type, int index);
/// Sets the offsets; returns the scan's length in bytes.
std::size_t lay_out(std::span<IioElement*> elements);
/// The value that stands in a scan.
std::int64_t count(const IioElement&, const std::uint8_t* scan) noexcept;

}  // namespace stillrotor::io
