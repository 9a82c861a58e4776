// Frames turned into columns, however many come at once and wherever they fall.
#include "emulator/record/frame_columns.hpp"

#include <gtest/gtest.h>

#include <cmath>
#include <vector>

namespace stillrotor {
namespace {

/// Each value says its column and its point.
float told(std::size_t column, std::size_t point) {
  return static_cast<float>(column * 1000 + point);
}

Frame frame_of(std::size_t point) {
  Frame frame;
  std::size_t k = 0;
  for (float& x : frame.value) x = told(k++, point);
  for (float& x : frame.least) x = told(k++, point);
  for (float& x : frame.greatest) x = told(k++, point);
  return frame;
}

TEST(FrameColumns, HoldEveryValueHoweverManyFramesComeAtOnce) {
  constexpr std::size_t length = 200;
  for (const std::size_t at_once : {1, 3, 15, 16, 17, 40, 64, 200}) {
    FrameColumns columns(length);
    while (!columns.full()) {
      std::vector<Frame> frames;
      for (std::size_t n = 0; n < at_once; ++n) frames.push_back(frame_of(columns.size() + n));
      const std::size_t before = columns.size();
      EXPECT_EQ(columns.add(frames), std::min(at_once, length - before));
    }
    for (std::size_t k = 0; k < column_count; ++k) {
      ASSERT_EQ(columns.column(k).size(), length);
      for (std::size_t point = 0; point < length; ++point)
        ASSERT_EQ(columns.column(k)[point], told(k, point)) << at_once << " at once";
    }
  }
}

TEST(FrameColumns, GoOnBehindPointsWithoutAValue) {
  FrameColumns columns(100);
  EXPECT_EQ(columns.pad(5), 5U);
  std::vector<Frame> frames;
  for (std::size_t n = 0; n < 64; ++n) frames.push_back(frame_of(5 + n));
  EXPECT_EQ(columns.add(frames), 64U);
  EXPECT_EQ(columns.pad(1000), 31U);
  ASSERT_TRUE(columns.full());
  for (std::size_t k = 0; k < column_count; ++k)
    for (std::size_t point = 0; point < 100; ++point) {
      if (point < 5 || point >= 69)
        ASSERT_TRUE(std::isnan(columns.column(k)[point]));
      else
        ASSERT_EQ(columns.column(k)[point], told(k, point));
    }
}

}  // namespace
}  // namespace stillrotor
