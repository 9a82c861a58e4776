#include "emulator/bench/yaml_tree.hpp"

#include <fmt/format.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/mark.h>
#include <yaml-cpp/parser.h>

#include <algorithm>
#include <fstream>
#include <map>
#include <set>
#include <sstream>

namespace stillrotor {
namespace {

constexpr std::uintmax_t largest_file = 4 << 20;
constexpr std::size_t deepest = 32;
constexpr std::size_t most_values = 100'000;
constexpr int most_aliases = 64;

/// Builds the tree from the parser's events, so that every cap acts before memory or stack is
/// spent.
class TreeBuilder : public YAML::EventHandler {
 public:
  TreeBuilder(std::shared_ptr<const std::string> file, Problems& problems)
      : file_(std::move(file)), problems_(problems) {}

  YamlNode root;

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents_ > 1) stop(mark, "a second document starts here; allowed 1. Remove \"---\".");
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    close(YamlNode{YamlNode::Kind::nothing, {}, at(mark), {}, {}}, anchor);
  }
  void OnScalar(const YAML::Mark& mark, const std::string&, YAML::anchor_t anchor,
                const std::string& value) override {
    close(YamlNode{YamlNode::Kind::scalar, value, at(mark), {}, {}}, anchor);
  }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t anchor) override {
    if (++aliases_ > most_aliases)
      stop(mark, fmt::format("too many aliases; allowed {}. Write the values out.", most_aliases));
    const auto found = anchors_.find(anchor);
    if (found == anchors_.end())
      stop(mark, "this alias stands inside the value that it names. Write the value out.");
    values_ += count(found->second);
    add(YamlNode(found->second), mark);
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t anchor,
                       YAML::EmitterStyle::value) override {
    open(YamlNode::Kind::sequence, mark, anchor);
  }
  void OnSequenceEnd() override { close_open(); }
  void OnMapStart(const YAML::Mark& mark, const std::string&, YAML::anchor_t anchor,
                  YAML::EmitterStyle::value) override {
    open(YamlNode::Kind::map, mark, anchor);
  }
  void OnMapEnd() override { close_open(); }

 private:
  struct Level {
    YamlNode node;
    YAML::anchor_t anchor;
    bool has_key = false;
    YamlKey key;
    bool repeated = false;  // the key came before: its value is read and dropped
  };

  Place at(const YAML::Mark& mark) const { return {file_, mark.line + 1, mark.column + 1}; }

  [[noreturn]] void stop(const YAML::Mark& mark, std::string_view sentence) const {
    Problems only;
    only.add(at(mark), sentence);
    only.throw_if_any();
    throw InputError(std::string(sentence));  // not reached
  }

  static std::size_t count(const YamlNode& node) {
    std::size_t total = 1;
    for (const auto& [key, value] : node.entries) total += count(value);
    for (const auto& item : node.items) total += count(item);
    return total;
  }

  void open(YamlNode::Kind kind, const YAML::Mark& mark, YAML::anchor_t anchor) {
    if (levels_.size() >= deepest)
      stop(mark, fmt::format("nested {} levels deep; allowed {}. Flatten the file.",
                             levels_.size() + 1, deepest));
    if (!levels_.empty() && levels_.back().node.kind == YamlNode::Kind::map &&
        !levels_.back().has_key)
      stop(mark, "a key must be a word, not a list or a map. Quote it if it is meant as text.");
    levels_.push_back({YamlNode{kind, {}, at(mark), {}, {}}, anchor, false, {}, false});
  }

  void close_open() {
    Level done = std::move(levels_.back());
    levels_.pop_back();
    close(std::move(done.node), done.anchor);
  }

  void close(YamlNode node, YAML::anchor_t anchor) {
    if (anchor != YAML::NullAnchor) anchors_[anchor] = node;
    ++values_;
    const YAML::Mark mark = [&] {
      YAML::Mark here;
      here.line = node.place.line - 1;
      here.column = node.place.column - 1;
      return here;
    }();
    add(std::move(node), mark);
  }

  void add(YamlNode node, const YAML::Mark& mark) {
    if (values_ > most_values)
      stop(mark, fmt::format("more than {} values in one file. Split or shorten it.", most_values));
    if (levels_.empty()) {
      root = std::move(node);
      return;
    }
    Level& level = levels_.back();
    if (level.node.kind == YamlNode::Kind::sequence) {
      level.node.items.push_back(std::move(node));
    } else if (!level.has_key) {
      if (node.kind != YamlNode::Kind::scalar)
        stop(mark, "a key must be a word. Quote it if it is meant as text.");
      level.key = {node.text, node.place};
      level.has_key = true;
      level.repeated = note_repeated(level);
    } else {
      if (!level.repeated) level.node.entries.emplace_back(level.key, std::move(node));
      level.has_key = false;
    }
  }

  bool note_repeated(const Level& level) {
    for (const auto& [key, value] : level.node.entries)
      if (key.text == level.key.text) {
        problems_.add(level.key.place,
                      fmt::format("key {} appears twice; first in line {}. Remove one of them.",
                                  key.text, key.place.line));
        return true;
      }
    return false;
  }

  std::shared_ptr<const std::string> file_;
  Problems& problems_;
  std::vector<Level> levels_;
  std::map<YAML::anchor_t, YamlNode> anchors_;
  std::size_t values_ = 0;
  int aliases_ = 0;
  int documents_ = 0;
};

/// Position of the first byte that is not UTF-8 text, or npos.
std::size_t first_bad_byte(std::string_view text) {
  const auto byte = [&](std::size_t k) {
    return k < text.size() ? static_cast<unsigned char>(text[k]) : 0U;
  };
  for (std::size_t k = 0; k < text.size();) {
    const unsigned lead = byte(k);
    std::size_t follow = 0;
    if (lead < 0x80) {
      if (lead < 0x20 && lead != '\t' && lead != '\n' && lead != '\r') return k;
    } else if (lead >= 0xC2 && lead < 0xE0) {
      follow = 1;
    } else if (lead >= 0xE0 && lead < 0xF0) {
      follow = 2;
      if ((lead == 0xE0 && byte(k + 1) < 0xA0) || (lead == 0xED && byte(k + 1) >= 0xA0)) return k;
    } else if (lead >= 0xF0 && lead < 0xF5) {
      follow = 3;
      if ((lead == 0xF0 && byte(k + 1) < 0x90) || (lead == 0xF4 && byte(k + 1) >= 0x90)) return k;
    } else {
      return k;
    }
    for (std::size_t n = 1; n <= follow; ++n)
      if ((byte(k + n) & 0xC0U) != 0x80U) return k;
    k += follow + 1;
  }
  return std::string_view::npos;
}

[[noreturn]] void refuse(const Place& place, std::string_view sentence) {
  Problems problems;
  problems.add(place, sentence);
  problems.throw_if_any();
  throw InputError(std::string(sentence));  // not reached
}

std::string read_bytes(const std::filesystem::path& file, const std::string& shown,
                       const Place& asked_at) {
  const bool own = asked_at.file == nullptr;
  const Place place = own ? whole(shown) : asked_at;
  const std::string subject = own ? "the file" : fmt::format("the file {}", shown);
  std::error_code error;
  const auto status = std::filesystem::status(file, error);
  if (!std::filesystem::exists(status))
    refuse(place, subject + " does not exist. Check the path; it counts from " +
                      (own ? "the current folder." : "the file that names it."));
  if (std::filesystem::is_directory(status))
    refuse(place, subject + " is a folder. Name the YAML file inside it.");
  if (!std::filesystem::is_regular_file(status))
    refuse(place, subject + " is not a regular file. Name a YAML file.");
  const std::uintmax_t size = std::filesystem::file_size(file, error);
  if (error) refuse(place, subject + " cannot be read: " + error.message() + ".");
  if (size > largest_file)
    refuse(place, fmt::format("{} has {} bytes; allowed {}. Is it a bench or scenario at all?",
                              subject, size, largest_file));
  std::ifstream stream(file, std::ios::binary);
  std::string text(size, '\0');
  if (!stream || !stream.read(text.data(), static_cast<std::streamsize>(size)))
    refuse(place, subject + " cannot be read. Check its permissions.");
  return text;
}

}  // namespace

const YamlNode* YamlNode::find(std::string_view key) const noexcept {
  for (const auto& [name, value] : entries)
    if (name.text == key) return &value;
  return nullptr;
}

YamlNode parse_yaml(const std::string& text, const std::string& shown) {
  if (const std::size_t bad = first_bad_byte(text); bad != std::string::npos) {
    const auto line =
        std::count(text.begin(), text.begin() + static_cast<std::ptrdiff_t>(bad), '\n');
    const std::size_t before = text.substr(0, bad).rfind('\n');
    const std::size_t column = before == std::string::npos ? bad + 1 : bad - before;
    refuse({std::make_shared<const std::string>(shown), static_cast<int>(line) + 1,
            static_cast<int>(column)},
           fmt::format("byte 0x{:02x} is not text; allowed UTF-8. Is it a YAML file at all?",
                       static_cast<unsigned char>(text[bad])));
  }
  Problems problems;
  const auto file = std::make_shared<const std::string>(shown);
  TreeBuilder builder(file, problems);
  try {
    // With a line end behind it, the parser takes an unfinished quote for finished.
    std::istringstream stream(text.substr(0, text.find_last_not_of(" \r\n") + 1));
    YAML::Parser parser(stream);
    while (parser.HandleNextDocument(builder)) {
    }
  } catch (const YAML::Exception& error) {
    problems.add({file, error.mark.line + 1, error.mark.column + 1},
                 fmt::format("not YAML: {}. Check indentation, brackets and quotes.", error.msg));
    problems.throw_if_any();
  }
  if (builder.root.kind == YamlNode::Kind::nothing)
    problems.add(whole(shown), "the file is empty. `list parameters` shows what belongs into it.");
  else if (builder.root.kind != YamlNode::Kind::map)
    problems.add(builder.root.place, "expected \"key: value\" lines at the top of the file.");
  problems.throw_if_any();
  return std::move(builder.root);
}

YamlNode read_yaml(const std::filesystem::path& file, const std::string& shown,
                   const Place& asked_at) {
  return parse_yaml(read_bytes(file, shown, asked_at), shown);
}

}  // namespace stillrotor
