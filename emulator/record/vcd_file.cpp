#include "emulator/record/vcd_file.hpp"

#include <fcntl.h>
#include <unistd.h>

#include <algorithm>
#include <array>
#include <cerrno>
#include <charconv>
#include <cstring>
#include <stdexcept>

#include "io/connector.hpp"

namespace stillrotor {
namespace {

constexpr std::size_t buffer_size = 256 * 1024;
constexpr std::size_t longest_change = 32;  // "#", 19 digits, newline, level, id, newline
constexpr std::int64_t low_range = 100'000'000;

constexpr char id_of(std::size_t line) noexcept { return static_cast<char>('!' + line); }

/// "00" to "99": two digits a look-up instead of one a division.
constexpr auto pairs = [] {
  std::array<char, 200> text{};
  for (std::size_t k = 0; k < 100; ++k) {
    text[2 * k] = static_cast<char>('0' + k / 10);
    text[2 * k + 1] = static_cast<char>('0' + k % 10);
  }
  return text;
}();

}  // namespace

VcdFile::VcdFile(const std::filesystem::path& file, std::uint32_t initially_high)
    : file_(file.string()), buffer_(buffer_size), out_(buffer_.data()) {
  fd_ = ::open(file.c_str(), O_WRONLY | O_CREAT | O_TRUNC | O_CLOEXEC, 0666);
  if (fd_ < 0) {
    throw std::runtime_error(file_ + ": cannot be created: " + std::strerror(errno) +
                             ". Name a folder that you may write to.");
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

void VcdFile::put_time(std::int64_t at_ps) noexcept {
  *out_++ = '#';
  if (at_ps < low_range) {
    out_ = std::to_chars(out_, out_ + longest_change, at_ps).ptr;
  } else {
    // Neighbouring edges share their leading digits: those are converted once.
    const std::int64_t leading = at_ps / low_range;
    if (leading != leading_) {
      leading_ = leading;
      leading_size_ = static_cast<std::size_t>(
          std::to_chars(leading_text_, leading_text_ + sizeof leading_text_, leading).ptr -
          leading_text_);
    }
    std::memcpy(out_, leading_text_, leading_size_);
    out_ += leading_size_;
    const auto low = static_cast<std::uint32_t>(at_ps - leading * low_range);
    const std::uint32_t upper = low / 10000, lower = low % 10000;
    for (const std::uint32_t pair : {upper / 100, upper % 100, lower / 100, lower % 100}) {
      std::memcpy(out_, pairs.data() + std::size_t{2} * pair, 2);
      out_ += 2;
    }
  }
  *out_++ = '\n';
  last_ps_ = at_ps;
}

void VcdFile::add(std::span<const LineEdge> edges) {
  for (const LineEdge& edge : edges) {
    if (buffer_.data() + buffer_size - out_ < static_cast<std::ptrdiff_t>(longest_change)) flush();
    if (edge.at_ps != last_ps_) put_time(edge.at_ps);
    *out_++ = edge.level != 0 ? '1' : '0';
    *out_++ = id_of(edge.line);
    *out_++ = '\n';
  }
}

void VcdFile::flush() {
  const char* from = buffer_.data();
  while (from != out_) {
    const ssize_t written = ::write(fd_, from, static_cast<std::size_t>(out_ - from));
    if (written > 0) {
      from += written;
    } else if (written < 0 && errno != EINTR) {
      throw std::runtime_error(file_ + ": cannot be written: " + std::strerror(errno));
    }
  }
  out_ = buffer_.data();
}

void VcdFile::finish(std::int64_t end_ps) {
  if (end_ps > last_ps_) put_time(end_ps);
  flush();
  const int status = ::close(fd_);
  fd_ = -1;
  if (status != 0) {
    throw std::runtime_error(file_ + ": cannot be closed: " + std::strerror(errno));
  }
}

}  // namespace stillrotor
