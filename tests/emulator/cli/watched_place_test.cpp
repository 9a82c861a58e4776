// Paths into types that a damaged file may claim: they end in a place inside the variable or in a
// sentence, whatever refers to what.
#include <gmock/gmock.h>
#include <gtest/gtest.h>

#include "emulator/cli/variable_list.hpp"
#include "emulator/cli/watched_place.hpp"
#include "io/connector.hpp"

namespace stillrotor::test {
namespace {

using io::mcu::Member;
using io::mcu::ValueType;
using io::mcu::Variables;
using testing::HasSubstr;
using Kind = ValueType::Kind;

/// One variable x of 16 bytes, of the first type.
Variables of(std::vector<ValueType> types) {
  Variables v;
  v.types = std::move(types);
  v.all.push_back({"x", "x", "a.c", "", 0x20000000, 16, 0});
  return v;
}
ValueType array_of(io::mcu::TypeIndex element, std::uint64_t count) {
  ValueType type;
  type.kind = Kind::array;
  type.element = element;
  type.count = count;
  return type;
}
ValueType structure(std::vector<Member> members) {
  ValueType type;
  type.kind = Kind::structure;
  type.name = "struct s";
  type.bytes = 16;
  type.members = std::move(members);
  return type;
}
ValueType number() {
  ValueType type;
  type.kind = Kind::number;
  type.name = "float";
  type.bytes = 4;
  return type;
}
std::string refusal(const char* path, const Variables& v) {
  try {
    watched_number({"a", path, {}, {}, path}, v);
  } catch (const io::ConfigError& error) {
    return error.what();
  }
  return "taken";
}

TEST(WatchedPlace, EndsInARingOfTypes) {
  const Variables arrays = of({array_of(0, 1000)});
  EXPECT_THAT(refusal("x[3]", arrays), HasSubstr("how big the elements of x are is not told"));
  // Ten ways at each of sixteen levels: nobody walks them all.
  std::vector<Member> many(9, {"", 0, 0, 0, 0});
  many.push_back({"a", 0, 0, 0, 0});
  const Variables unnamed = of({structure(many)});
  EXPECT_THAT(refusal("x.b", unnamed), HasSubstr("has no member b"));
  EXPECT_THAT(refusal("x.a.a.a", unnamed), HasSubstr("Name a member"));
  for (const Variables& v : {arrays, unnamed}) EXPECT_LT(variable_rows(v).size(), 30'000U);
}

TEST(WatchedPlace, LiesInsideItsVariable) {
  EXPECT_THAT(refusal("x.far", of({structure({{"far", 13, 0, 0, 1}}), number()})),
              HasSubstr("would end at byte 17"));
  EXPECT_THAT(refusal("x.far", of({structure({{"far", ~std::uint64_t{1}, 0, 0, 1}}), number()})),
              HasSubstr("would end at byte"));
  EXPECT_THAT(refusal("x[4]", of({array_of(1, 1'000'000), number()})), HasSubstr("end at byte 20"));
  EXPECT_EQ(refusal("x[3]", of({array_of(1, 4), number()})), "taken");
  EXPECT_EQ(watched_number({"a", "x[3]", {}, {}, ""}, of({array_of(1, 4), number()})).place.address,
            0x2000000CU);
}

}  // namespace
}  // namespace stillrotor::test
