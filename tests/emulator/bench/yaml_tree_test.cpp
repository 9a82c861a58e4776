// Files that are no bench at all get an answer with file, place and remedy, and cost little.
#include "emulator/bench/yaml_tree.hpp"

#include "tests/emulator/bench/support.hpp"

namespace stillrotor {
namespace {

using test::Folder;
using test::problems;
using testing::AllOf;
using testing::ContainsRegex;
using testing::HasSubstr;

std::string said(const std::string& text) {
  return problems([&] { parse_yaml(text, "f.yaml"); });
}
std::string said_of(const std::filesystem::path& file) {
  return problems([&] { read_yaml(file, "f.yaml"); });
}

TEST(YamlTree, KeepsThePlaceOfEveryKeyAndValue) {
  const YamlNode root = parse_yaml("a: 1\nb:\n  c: [x, y]\n", "f.yaml");
  const YamlNode& list = *root.find("b")->find("c");
  ASSERT_EQ(list.items.size(), 2U);
  EXPECT_EQ(list.items[1].text, "y");
  EXPECT_EQ(list.items[1].place.text(), "f.yaml:3:10");
  EXPECT_EQ(root.entries[1].first.place.text(), "f.yaml:2:1");
}

TEST(YamlTree, AMissingFileIsNamed) {
  EXPECT_THAT(said_of("/nonexistent/f.yaml"), HasSubstr("f.yaml: the file does not exist."));
}

TEST(YamlTree, AFolderIsNoFile) {
  const Folder folder;
  EXPECT_THAT(said_of(folder.path()), HasSubstr("is a folder"));
}

TEST(YamlTree, ADeviceIsNoFile) { EXPECT_THAT(said_of("/dev/zero"), HasSubstr("not a regular")); }

TEST(YamlTree, EmptyFilesAreSaidToBeEmpty) {
  const Folder folder;
  EXPECT_THAT(said_of(folder.write("f", "")), HasSubstr("is empty"));
  EXPECT_THAT(said("# only a comment\n"), HasSubstr("is empty"));
  EXPECT_EQ(said_of(folder.write("g", "a: 1")), "");
}

// A sparse file of 1 GB: refused by its size, so no memory and no time is spent on it.
TEST(YamlTree, AHugeFileIsRefusedFromItsSize) {
  const Folder folder;
  const auto file = folder.write("f", "a: 1");
  std::filesystem::resize_file(file, 1'000'000'000);
  EXPECT_THAT(said_of(file), HasSubstr("has 1000000000 bytes; allowed 4194304"));
}

TEST(YamlTree, BinaryBytesAreNamedWithTheirPlace) {
  using std::string_literals::operator""s;
  EXPECT_THAT(said("a: 1\nb: \0x"s), HasSubstr("f.yaml:2:4: byte 0x00 is not text"));
  EXPECT_THAT(said("\x7f"
                   "ELF\x02\x01"),
              HasSubstr("f.yaml:1:5: byte 0x02 is not text"));
  EXPECT_THAT(said("a: \xff"), HasSubstr("byte 0xff"));
  EXPECT_THAT(said("a: \xc0\xaf"), HasSubstr("byte 0xc0"));      // overlong
  EXPECT_THAT(said("a: \xed\xa0\x80"), HasSubstr("byte 0xed"));  // surrogate
  EXPECT_THAT(said("a: \xe2\x82"), HasSubstr("byte 0xe2"));      // cut short
  EXPECT_EQ(said("a: \u00b5\u20ac\U0001F34E"), "");
}

TEST(YamlTree, BrokenSyntaxIsNamedWithItsPlace) {
  EXPECT_THAT(said("a: [1, 2\nb: 3\n"), ContainsRegex("f.yaml:[0-9]+:[0-9]+: not YAML"));
  EXPECT_THAT(said("a: \"x\n"), HasSubstr("not YAML"));
  EXPECT_THAT(said("- a\n- b\n"), HasSubstr("expected \"key: value\""));
  EXPECT_THAT(said("just words"), HasSubstr("expected \"key: value\""));
}

std::string repeated(std::string_view text, int times) {
  std::string all;
  for (int k = 0; k < times; ++k) all += text;
  return all;
}

// A hundred thousand levels: the answer must come before the stack is spent.
TEST(YamlTree, DeepNestingOfAnyKindIsCapped) {
  constexpr int deep = 100'000;
  const std::string brackets = "a: " + repeated("[", deep) + repeated("]", deep);
  const std::string braces = "a: " + repeated("{a: ", deep) + "1" + repeated("}", deep);
  const std::string dashes = repeated("- ", deep) + "1";
  for (const std::string& text : {brackets, braces, dashes})
    EXPECT_THAT(said(text), AllOf(HasSubstr("f.yaml:"), HasSubstr("nested 33 levels deep")))
        << text.substr(0, 10);
  // Never closed, or keys of keys: refused for one reason or the other.
  for (const char* opening : {"[", "{", "{a: ", "? ", "[? "})
    EXPECT_THAT(said("a: " + repeated(opening, deep)), HasSubstr("f.yaml:")) << opening;
  // The map at the top is the first level.
  EXPECT_EQ(said("a: " + repeated("[", 31) + repeated("]", 31)), "");
}

TEST(YamlTree, AnAliasInsideItsOwnValueIsRefused) {
  EXPECT_THAT(said("a: &x [1, *x]\n"), HasSubstr("f.yaml:1:11: this alias stands inside"));
  EXPECT_THAT(said("a: *y\n"), HasSubstr("not YAML"));
  EXPECT_EQ(said("a: &x 1\nb: *x\n"), "");
}

// Ten values, ten times in each of nine levels: 10^10 values if they were all written out.
TEST(YamlTree, AliasesOfAliasesCannotGrowWithoutBound) {
  std::string text = "a0: &a0 [0, 0, 0, 0, 0, 0, 0, 0, 0, 0]\n";
  for (int k = 1; k < 10; ++k) {
    const std::string name = "a" + std::to_string(k), before = "*a" + std::to_string(k - 1);
    text += name + ": &" + name + " [" + before;
    for (int n = 1; n < 10; ++n) text += ", " + before;
    text += "]\n";
  }
  EXPECT_THAT(said(text), testing::AnyOf(HasSubstr("too many aliases"), HasSubstr("values")));
}

TEST(YamlTree, ARepeatedKeyIsAProblemAtItsSecondPlace) {
  EXPECT_THAT(said("a: 1\nb: 2\na: 3\n"),
              HasSubstr("f.yaml:3:1: key a appears twice; first in line 1"));
  EXPECT_THAT(said("m: {a: 1, a: 2}\n"), HasSubstr("key a appears twice"));
}

TEST(YamlTree, KeysAreWords) {
  EXPECT_THAT(said("? [a, b]\n: 1\n"), HasSubstr("a key must be a word"));
  EXPECT_THAT(said("? {a: b}\n: 1\n"), HasSubstr("a key must be a word"));
}

TEST(YamlTree, OneDocumentAFile) {
  EXPECT_THAT(said("a: 1\n---\nb: 2\n"), HasSubstr("a second document"));
}

TEST(YamlParts, ValuesComeFromThePartUnlessWrittenBeside) {
  const Folder folder;
  folder.write("parts/m.yaml", "x: 1\nin: {y: 2, z: 3}\n");
  const auto file = folder.write("b.yaml", "m: {from: parts/m.yaml, in: {y: 5}}\n");
  Problems found;
  YamlNode root = read_yaml(file, file.string());
  resolve_parts(root, file, found);
  ASSERT_TRUE(found.empty());
  const YamlNode& m = *root.find("m");
  EXPECT_EQ(m.find("x")->text, "1");
  EXPECT_EQ(m.find("in")->find("y")->text, "5");
  EXPECT_EQ(m.find("in")->find("z")->text, "3");
  EXPECT_THAT(m.find("x")->place.text(), HasSubstr("parts/m.yaml:1:4"));
}

std::string parts_problems(const Folder&, const std::filesystem::path& file) {
  return problems([&] {
    Problems found;
    YamlNode root = read_yaml(file, file.string());
    resolve_parts(root, file, found);
    found.throw_if_any();
  });
}

TEST(YamlParts, AMissingPartIsReportedWhereItIsAskedFor) {
  const Folder folder;
  const auto file = folder.write("b.yaml", "a: 1\nm: {from: gone.yaml}\n");
  EXPECT_THAT(parts_problems(folder, file),
              ContainsRegex("b.yaml:2:11: the file .*gone.yaml does"));
}

TEST(YamlParts, AnErrorInAPartCarriesThePartsName) {
  const Folder folder;
  folder.write("p.yaml", "x: 1\nx: 2\n");
  const auto file = folder.write("b.yaml", "m: {from: p.yaml}\n");
  EXPECT_THAT(parts_problems(folder, file), HasSubstr("p.yaml:2:1: key x appears twice"));
}

TEST(YamlParts, ALoopOfPartsEnds) {
  const Folder folder;
  folder.write("p.yaml", "from: q.yaml\n");
  folder.write("q.yaml", "from: p.yaml\n");
  const auto file = folder.write("b.yaml", "m: {from: p.yaml}\n");
  EXPECT_THAT(parts_problems(folder, file), HasSubstr("leads back to itself"));
}

TEST(YamlParts, ChainsOfPartsAreCapped) {
  const Folder folder;
  for (int k = 0; k < 12; ++k)
    folder.write("p" + std::to_string(k) + ".yaml",
                 "from: p" + std::to_string(k + 1) + ".yaml\nx: 1\n");
  folder.write("p12.yaml", "y: 1\n");
  EXPECT_THAT(parts_problems(folder, folder.write("b.yaml", "m: {from: p0.yaml}\n")),
              HasSubstr("too many part files"));
  EXPECT_EQ(parts_problems(folder, folder.write("c.yaml", "m: {from: p6.yaml}\n")), "");
}

}  // namespace
}  // namespace stillrotor
