#include "io/capture/vcd_reader.hpp"

#include <algorithm>
#include <array>
#include <charconv>
#include <limits>

namespace stillrotor::io {
namespace {

constexpr std::size_t window_bytes = 64 * 1024;
constexpr std::size_t token_limit = 1 << 20;  // a vector's digits; far above any real one
constexpr std::size_t scope_limit = 64, path_limit = 1024, variable_limit = 65536;
constexpr const char* export_again = "Export the recording again as VCD (IEEE 1364).";

constexpr bool is_blank(char c) { return c == ' ' || c == '\t' || c == '\n' || c == '\r'; }

/// For messages: short, and nothing that a terminal would act on.
std::string shown(std::string_view text) {
  std::string out;
  for (char c : text.substr(0, 24)) out += c >= 0x20 && c < 0x7f ? c : '?';
  return '\'' + out + (text.size() > 24 ? "...'" : "'");
}

VcdValue value_of(char c) {
  switch (c) {
    case '0':
      return VcdValue::zero;
    case '1':
      return VcdValue::one;
    case 'z':
    case 'Z':
      return VcdValue::released;
    default:
      return VcdValue::unknown;
  }
}
constexpr bool is_value(char c) {
  return std::string_view("01xXzZ").find(c) != std::string_view::npos;
}

}  // namespace

VcdReader::VcdReader(const std::filesystem::path& file, std::string parameter)
    : file_(file), parameter_(std::move(parameter)), window_(window_bytes) {
  std::error_code error;
  const auto status = std::filesystem::status(file_, error);
  const auto refuse = [&](const std::string& what) {
    throw ConfigError(parameter_, file_.string() + ": " + what);
  };
  if (file_.empty()) throw ConfigError(parameter_, "no recording is named. Name a VCD file.");
  if (!std::filesystem::exists(status)) refuse("there is no such file. Name an existing VCD file.");
  if (!std::filesystem::is_regular_file(status))
    refuse("is not a regular file. A recording is read more than once: save it to a file.");
  stream_.open(file_, std::ios::binary);
  if (!stream_) refuse("cannot be opened. Check its permissions.");
  read_declarations();
}

void VcdReader::fail(const std::string& what, const std::string& remedy) const {
  throw ConfigError(
      parameter_, file_.string() + ":" + std::to_string(token_line_) + ": " + what + ". " + remedy);
}

bool VcdReader::fill() {
  stream_.read(window_.data(), static_cast<std::streamsize>(window_.size()));
  position_ = 0;
  filled_ = static_cast<std::size_t>(stream_.gcount());
  if (stream_.bad()) {
    token_line_ = line_;
    fail("the file cannot be read on", "Check the disk and copy the recording again.");
  }
  return filled_ > 0;
}

bool VcdReader::read_token(std::string& token) {
  token.clear();
  for (;;) {
    if (position_ == filled_ && !fill()) return !token.empty();
    const char c = window_[position_];
    if (is_blank(c)) {
      if (!token.empty()) return true;  // the blank stays, so that its line is counted afterwards
      ++position_;
      if (c == '\n') ++line_;
      continue;
    }
    if (token.empty()) token_line_ = line_;
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) {
      token_line_ = line_;
      fail("byte " + std::to_string(static_cast<unsigned char>(c)) +
               " is not text; a VCD is a text file",
           export_again);
    }
    if (token.size() == token_limit) fail("a word of more than a million characters", export_again);
    token += c;
    ++position_;
  }
}

void VcdReader::skip_section(std::string_view keyword) {
  const auto start = token_line_;
  while (read_token(token_))
    if (token_ == "$end") return;
  token_line_ = start;
  fail(std::string(keyword) + " has no $end", "Close it with $end, or export again.");
}

std::string VcdReader::section_word(std::string_view keyword) {
  if (!read_token(token_)) fail("the file ends inside " + std::string(keyword), export_again);
  if (token_ == "$end") fail(std::string(keyword) + " ends too early", export_again);
  return token_;
}

void VcdReader::end_section(std::string_view keyword) {
  if (!read_token(token_) || token_ != "$end")
    fail(std::string(keyword) + " is not closed by $end", export_again);
}

void VcdReader::read_timescale() {
  if (ps_per_tick_ != 0) fail("a second $timescale; one is allowed", export_again);
  std::string text = section_word("$timescale");
  const auto digits = std::min(text.find_first_not_of("0123456789"), text.size());
  const std::string number = text.substr(0, digits);
  const std::string unit = digits < text.size() ? text.substr(digits) : section_word("$timescale");
  end_section("$timescale");
  static constexpr std::array<std::string_view, 6> units = {"s", "ms", "us", "ns", "ps", "fs"};
  const auto found = std::find(units.begin(), units.end(), unit);
  if ((number != "1" && number != "10" && number != "100") || found == units.end())
    fail("$timescale is " + shown(number + " " + unit) +
             "; allowed 1, 10 or 100 of s, ms, us, ns, ps, fs",
         export_again);
  const auto factor = static_cast<std::uint64_t>(std::stoi(number));
  std::uint64_t ps = factor;
  if (*found == "fs") {
    ps_per_tick_ = 1;
    ticks_per_ps_ = 1000 / factor;
    tick_s_ = static_cast<double>(factor) * 1e-15;
    return;
  }
  for (auto k = found - units.begin(); k < 4; ++k) ps *= 1000;
  ps_per_tick_ = ps;
  tick_s_ = static_cast<double>(ps) * 1e-12;
}

void VcdReader::read_variable() {
  VcdVariable variable;
  const std::string type = section_word("$var");
  variable.real = type == "real" || type == "realtime" || type == "string";
  const std::string width = section_word("$var");
  const auto [end, error] =
      std::from_chars(width.data(), width.data() + width.size(), variable.width);
  if (error != std::errc{} || end != width.data() + width.size())
    fail("$var has size " + shown(width) + "; allowed a number of bits", export_again);
  const std::string id = section_word("$var");
  variable.name = section_word("$var");
  // "[2]" names a bit and belongs to the name; "[7:0]" only repeats the size.
  while (read_token(token_) && token_ != "$end")
    if (token_.find(':') == std::string::npos) variable.name += token_;
  if (token_ != "$end") fail("$var is not closed by $end", export_again);
  if (const auto range = variable.name.rfind('[');
      range != std::string::npos && variable.name.find(':', range) != std::string::npos)
    variable.name.resize(range);
  for (const auto& scope : scopes_) variable.path += scope + '.';
  variable.path += variable.name;
  if (variable.path.size() > path_limit)
    fail("a variable's name with its scopes has more than 1024 characters", "Export fewer scopes.");
  if (variables_.size() == variable_limit)
    fail("more than 65536 variables", "Export only the controller's lines.");
  variable.code = codes_.try_emplace(id, static_cast<std::uint32_t>(codes_.size())).first->second;
  variables_.push_back(std::move(variable));
}

void VcdReader::read_declarations() {
  bool any = false;
  while (read_token(token_)) {
    const std::string keyword = token_;
    if (keyword == "$enddefinitions") {
      end_section(keyword);
      if (ps_per_tick_ == 0) fail("no $timescale before $enddefinitions", export_again);
      return;
    }
    if (keyword == "$timescale") {
      read_timescale();
    } else if (keyword == "$scope") {
      section_word(keyword);  // its kind
      if (scopes_.size() == scope_limit)
        fail("scopes nested deeper than 64", "Export fewer scopes.");
      scopes_.push_back(section_word(keyword).substr(0, path_limit));
      end_section(keyword);
    } else if (keyword == "$upscope") {
      if (scopes_.empty()) fail("$upscope without a $scope", export_again);
      scopes_.pop_back();
      end_section(keyword);
    } else if (keyword == "$var") {
      read_variable();
    } else if (keyword.front() == '$' && keyword != "$end" && keyword.size() > 1) {
      if (!any && keyword.find_first_not_of("abcdefghijklmnopqrstuvwxyz_", 1) != std::string::npos)
        fail("begins with " + shown(keyword) + ", not with a $section; this is not a VCD",
             export_again);
      skip_section(keyword);  // $date, $version, $comment, and what other tools add
    } else {
      fail(shown(keyword) + (any ? " between the declarations; allowed $sections"
                                 : " at the start, where a VCD has a $section; this is not a VCD"),
           export_again);
    }
    any = true;
  }
  token_line_ = line_;
  fail(any ? "the file ends before $enddefinitions" : "the file is empty", export_again);
}

std::uint32_t VcdReader::code_of(std::string_view id) const {
  const auto found = codes_.find(std::string(id));
  if (found == codes_.end())
    fail("value of " + shown(id) + ", which no $var declares", export_again);
  return found->second;
}

void VcdReader::read_time(std::string_view digits) {
  std::uint64_t ticks = 0;
  const auto [end, error] = std::from_chars(digits.data(), digits.data() + digits.size(), ticks);
  constexpr auto most = static_cast<std::uint64_t>(std::numeric_limits<std::int64_t>::max());
  const bool number =
      !digits.empty() && digits.find_first_not_of("0123456789") == std::string_view::npos;
  if (!number) fail("time stamp " + shown(digits) + " is not a number of ticks", export_again);
  if (error != std::errc{} || end != digits.data() + digits.size() || ticks > most / ps_per_tick_)
    fail("time stamp " + shown(digits) + " lies beyond 106 days",
         "Cut the recording to the part of interest.");
  if (timed_ && ticks < ticks_)
    fail("time stamp " + shown(digits) + " is earlier than the one before it, " +
             std::to_string(ticks_),
         "Time must not run backwards: export again, or join recordings in order.");
  ticks_ = ticks;
  const auto rounded =
      ticks / ticks_per_ps_ +
      (2 * (ticks % ticks_per_ps_) >= ticks_per_ps_ && ticks_per_ps_ > 1 ? 1U : 0U);
  now_ = Time(static_cast<std::int64_t>(rounded * ps_per_tick_));
  if (!timed_) first_ = now_;
  timed_ = true;
}

bool VcdReader::next(VcdChange& change) {
  while (read_token(token_)) {
    const char kind = token_.front();
    if (is_value(kind) && token_.size() > 1) {
      change = {now_, code_of(std::string_view(token_).substr(1)), value_of(kind)};
      return true;
    }
    switch (kind) {
      case '#':
        read_time(std::string_view(token_).substr(1));
        break;
      case 'b':
      case 'B': {
        if (token_.size() < 2 || token_.find_first_not_of("01xXzZ", 1) != std::string::npos)
          fail(shown(token_) + " is not a binary value", export_again);
        const auto value = value_of(token_.back());
        if (!read_token(token_)) fail("the file ends inside a value", "Delete its last line.");
        change = {now_, code_of(token_), value};
        return true;
      }
      case 'r':
      case 'R':
      case 's':
      case 'S':
        if (!read_token(token_)) fail("the file ends inside a value", "Delete its last line.");
        code_of(token_);
        break;
      case '$':
        if (token_ == "$comment")
          skip_section("$comment");
        else if (token_ == "$dumpports" || token_ == "$vcdclose")
          fail("this is an extended (port) dump; only four-state dumps are read", export_again);
        else if (token_ != "$dumpvars" && token_ != "$dumpall" && token_ != "$dumpon" &&
                 token_ != "$dumpoff" && token_ != "$end")
          fail(shown(token_) + " among the value changes", export_again);
        break;
      default:
        fail(shown(token_) + " is neither a time nor a value", export_again);
    }
  }
  return false;
}

}  // namespace stillrotor::io
