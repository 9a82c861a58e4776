#include "emulator/record/vcd_file.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <system_error>

#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t buffer_size = 256 * 1024;
constexpr std::size_t longest_change = 40;  // "#", 19 digits, newline, level, id, newline; slack
constexpr std::int64_t low_range = 100'000'000;

constexpr char id_of(std::size_t line) noexcept { return static_cast<char>('!' + line); }

/// The eight digits of a number below 10^8, the first one in the lowest byte: halves, quarters and
/// single digits are parted side by side in one word. Factors are exact for what they divide:
/// x 10486 / 2^20 = floor(x / 100) below 10^4, x 103 / 2^10 = floor(x / 10) below 100.
std::uint64_t eight_digits(std::uint32_t number) noexcept {
  const std::uint64_t upper = number / 10000, lower = number - 10000 * upper;
  const std::uint64_t halves = upper | lower << 32;
  const std::uint64_t hundreds = (halves * 10486 >> 20) & 0x0000007F0000007F;
  const std::uint64_t quarters = hundreds | (halves - 100 * hundreds) << 16;
  const std::uint64_t tens = (quarters * 103 >> 10) & 0x000F000F000F000F;
  return (tens | (quarters - 10 * tens) << 8) + 0x3030303030303030;
}

}  // namespace

VcdFile::VcdFile(const std::filesystem::path& file, std::uint32_t initially_high)
    : file_(file.string()), buffer_(buffer_size), out_(buffer_.data()) {
  fd_ = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd_ < 0) {
    throw std::system_error(errno, std::generic_category(),
                            file_ + ": cannot be created; name a folder that you may write to");
  }
  write_header(initially_high);
}

VcdFile::~VcdFile() {
  if (fd_ >= 0) ::close(fd_);
}

void VcdFile::write_header(std::uint32_t initially_high) {
  std::string text =
      "$comment Lines at the controller's connector. Gates: 1 is a switch commanded on. $end\n"
      "$timescale 1 ps $end\n$scope module connector $end\n";
  std::string_view scope;
  for (std::size_t line = 0; line < io::line_count; ++line) {
    const std::string_view full = io::name(static_cast<io::LineId>(line));
    const auto dot = full.find('.');
    const auto its_scope = dot == full.npos ? std::string_view{} : full.substr(0, dot);
    if (its_scope != scope) {
      if (!scope.empty()) text += "$upscope $end\n";
      if (!its_scope.empty()) text += "$scope module " + std::string(its_scope) + " $end\n";
      scope = its_scope;
    }
    text += std::string("$var wire 1 ") + id_of(line) + ' ' +
            std::string(full.substr(dot == full.npos ? 0 : dot + 1)) + " $end\n";
  }
  if (!scope.empty()) text += "$upscope $end\n";
  text += "$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n";
  for (std::size_t line = 0; line < io::line_count; ++line) {
    text += (initially_high >> line & 1U) != 0 ? '1' : '0';
    text += id_of(line);
    text += '\n';
  }
  text += "$end\n";
  out_ = std::copy(text.begin(), text.end(), out_);
  flush();
}

void VcdFile::put_leading(std::int64_t at_ps) noexcept {
  const std::int64_t leading = at_ps / low_range;
  leading_ps_ = leading * low_range;
  leading_text_[0] = '#';
  leading_size_ = static_cast<std::size_t>(
      std::to_chars(leading_text_.data() + 1, leading_text_.data() + leading_text_.size(), leading)
          .ptr -
      leading_text_.data());
}

/// "#", the time, newline. Returns where the next character goes.
inline char* VcdFile::put_time(char* out, std::int64_t at_ps) noexcept {
  if (at_ps < low_range) {
    *out++ = '#';
    out = std::to_chars(out, out + longest_change, at_ps).ptr;
  } else {
    if (leading_ps_ < 0 || at_ps - leading_ps_ >= low_range) put_leading(at_ps);
    std::memcpy(out, leading_text_.data(), leading_text_.size());  // all: a fixed size is fast
    out += leading_size_;
    const std::uint64_t low = eight_digits(static_cast<std::uint32_t>(at_ps - leading_ps_));
    std::memcpy(out, &low, sizeof low);
    out += sizeof low;
  }
  *out++ = '\n';
  return out;
}

void VcdFile::add(std::span<const LineEdge> edges) {
  while (!edges.empty()) {
    const auto room = static_cast<std::size_t>(buffer_.data() + buffer_size - out_);
    const std::size_t count = std::min(edges.size(), room / longest_change);
    // In locals: a character written could be any member, as far as the compiler knows.
    char* out = out_;
    std::int64_t last_ps = last_ps_;
    for (const LineEdge& edge : edges.first(count)) {
      if (edge.at_ps != last_ps) {
        last_ps = edge.at_ps;
        out = put_time(out, last_ps);
      }
      const char change[3] = {edge.level != 0 ? '1' : '0', id_of(edge.line), '\n'};
      std::memcpy(out, change, sizeof change);
      out += sizeof change;
    }
    out_ = out;
    last_ps_ = last_ps;
    edges = edges.subspan(count);
    if (!edges.empty()) flush();
  }
}

void VcdFile::flush() {
  const char* from = buffer_.data();
  while (from != out_) {
    const ssize_t written = ::write(fd_, from, static_cast<std::size_t>(out_ - from));
    if (written > 0) {
      from += written;
    } else if (written < 0 && errno != EINTR) {
      throw std::system_error(errno, std::generic_category(), file_ + ": cannot be written");
    }
  }
  out_ = buffer_.data();
}

void VcdFile::finish(std::int64_t end_ps) {
  flush();  // makes room
  if (end_ps > last_ps_) out_ = put_time(out_, end_ps);
  flush();
  const int status = ::close(fd_);
  fd_ = -1;
  if (status != 0) {
    throw std::system_error(errno, std::generic_category(), file_ + ": cannot be closed");
  }
}

}  // namespace stillrotor
