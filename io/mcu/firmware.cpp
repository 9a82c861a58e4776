#include "io/mcu/firmware.hpp"

#include <fmt/core.h>

#include <fstream>
#include <iterator>
#include <string>

#include "io/connector.hpp"
#include "io/mcu/elf.hpp"
#include "io/mcu/image/elf_file.hpp"
#include "io/mcu/intel_hex.hpp"

namespace stillrotor::io::mcu {
namespace {

namespace fs = std::filesystem;

constexpr std::uintmax_t largest_file = 64u << 20;  // with debugging information, by far enough

[[noreturn]] void refuse(const fs::path& path, const std::string& reason,
                         const std::string& remedy) {
  throw ConfigError("controller.firmware", fmt::format("{} {}. {}", path.string(), reason, remedy));
}

std::string read_file(const fs::path& path) {
  if (path.empty())
    throw ConfigError("controller.firmware",
                      "no firmware is named. Set controller.firmware to an ELF or Intel HEX file.");
  std::error_code error;
  const auto status = fs::status(path, error);
  if (!fs::exists(status)) refuse(path, "does not exist", "Build it first, or correct the path.");
  if (fs::is_directory(status)) refuse(path, "is a folder", "Name the ELF or HEX file in it.");
  if (!fs::is_regular_file(status))
    refuse(path, "is not a regular file", "Name an ELF or HEX file.");
  const auto size = fs::file_size(path, error);
  if (error) refuse(path, "cannot be read (" + error.message() + ")", "Check its permissions.");
  if (size == 0) refuse(path, "is empty", "Build the firmware again.");
  if (size > largest_file)
    refuse(path, fmt::format("has {} bytes, more than {} are not read", size, largest_file),
           "Name the linked firmware (ELF or HEX).");
  std::ifstream file(path, std::ios::binary);
  std::string bytes(std::istreambuf_iterator<char>(file), {});
  if (!file) refuse(path, "cannot be read", "Check its permissions.");
  return bytes;
}

Firmware read(const fs::path& path, const Part& part) {
  const std::string bytes = read_file(path);
  if (starts_like_elf(bytes)) return read_elf(bytes, part, path.string());
  if (starts_like_intel_hex(bytes)) return read_intel_hex(bytes, part, path.string());
  refuse(
      path, "is neither an ELF nor an Intel HEX file",
      "Give what the linker wrote (usually .elf), or what objcopy -O ihex made of it (.hex), not "
      "a source or .bin file.");
}

bool starts_with_jump(const Firmware& firmware) {
  return firmware.flash.size() >= 2 && (firmware.flash[1] & 0xfe) == 0x94 &&
         (firmware.flash[0] & 0x0e) == 0x0c;
}

}  // namespace

Firmware load_firmware(const fs::path& path, const Part& part) {
  Firmware firmware = read(path, part);
  firmware.file = path;
  if (!part.has_jump && starts_with_jump(firmware))
    refuse(path, fmt::format("begins with JMP, an instruction that {} has not", part.name),
           fmt::format("Compile it with -mmcu={}, or set controller.part.", part.name));
  return firmware;
}

}  // namespace stillrotor::io::mcu
