#include "io/mcu/cortexm/parts/motor.hpp"

namespace stillrotor::io::cortexm {
namespace {

constexpr TimerBlock timers[] = {
    {"TIM1", {.number = 1, .advanced = true}, 0x40010000, true, {0, 24, 25, 26, 27}, {5, 2, 3, 4}},
    {"TIM2", {.number = 2, .wide = true}, 0x40000000, false, {28}, {1, 8, 3, 4}},
    {"TIM3", {.number = 3}, 0x40000400, false, {29}, {1, 2, 5, 4}},
    {"TIM4", {.number = 4}, 0x40000800, false, {30}, {1, 2, 3, 8}},
    {"TIM5", {.number = 5, .wide = true}, 0x40000C00, false, {50}, {2, 3, 4, 8}},
    {"TIM6", {.number = 6, .channels = 0, .both_ways = false}, 0x40001000, false, {54}, {}},
    {"TIM7", {.number = 7, .channels = 0, .both_ways = false}, 0x40001400, false, {55}, {}},
    {"TIM8", {.number = 8, .advanced = true}, 0x40010400, true, {0, 43, 44, 45, 46}, {1, 2, 4, 5}},
    {"TIM9",
     {.number = 9, .channels = 2, .both_ways = false},
     0x40014000,
     true,
     {24},
     {2, 3, 0, 0}},
    {"TIM10", {.number = 10, .channels = 1, .both_ways = false}, 0x40014400, true, {25}, {}},
    {"TIM11", {.number = 11, .channels = 1, .both_ways = false}, 0x40014800, true, {26}, {}},
    {"TIM12",
     {.number = 12, .channels = 2, .both_ways = false},
     0x40001800,
     false,
     {43},
     {4, 5, 0, 0}},
    {"TIM13", {.number = 13, .channels = 1, .both_ways = false}, 0x40001C00, false, {44}, {}},
    {"TIM14", {.number = 14, .channels = 1, .both_ways = false}, 0x40002000, false, {45}, {}},
};

using enum TimerPin;
// The datasheet's table of alternate functions.
constexpr TimerWire wires[] = {
    {'A', 8, 1, 1, channel1},     {'A', 9, 1, 1, channel2},     {'A', 10, 1, 1, channel3},
    {'A', 11, 1, 1, channel4},    {'A', 7, 1, 1, complement1},  {'B', 0, 1, 1, complement2},
    {'B', 1, 1, 1, complement3},  {'B', 13, 1, 1, complement1}, {'B', 14, 1, 1, complement2},
    {'B', 15, 1, 1, complement3}, {'A', 6, 1, 1, stop},         {'B', 12, 1, 1, stop},
    {'A', 12, 1, 1, trigger},     {'E', 9, 1, 1, channel1},     {'E', 11, 1, 1, channel2},
    {'E', 13, 1, 1, channel3},    {'E', 14, 1, 1, channel4},    {'E', 8, 1, 1, complement1},
    {'E', 10, 1, 1, complement2}, {'E', 12, 1, 1, complement3}, {'E', 15, 1, 1, stop},
    {'E', 7, 1, 1, trigger},

    {'A', 0, 1, 2, channel1},     {'A', 5, 1, 2, channel1},     {'A', 15, 1, 2, channel1},
    {'A', 1, 1, 2, channel2},     {'B', 3, 1, 2, channel2},     {'A', 2, 1, 2, channel3},
    {'B', 10, 1, 2, channel3},    {'A', 3, 1, 2, channel4},     {'B', 11, 1, 2, channel4},
    {'A', 6, 2, 3, channel1},     {'B', 4, 2, 3, channel1},     {'C', 6, 2, 3, channel1},
    {'A', 7, 2, 3, channel2},     {'B', 5, 2, 3, channel2},     {'C', 7, 2, 3, channel2},
    {'B', 0, 2, 3, channel3},     {'C', 8, 2, 3, channel3},     {'B', 1, 2, 3, channel4},
    {'C', 9, 2, 3, channel4},     {'D', 2, 2, 3, trigger},      {'B', 6, 2, 4, channel1},
    {'B', 7, 2, 4, channel2},     {'B', 8, 2, 4, channel3},     {'B', 9, 2, 4, channel4},
    {'D', 12, 2, 4, channel1},    {'D', 13, 2, 4, channel2},    {'D', 14, 2, 4, channel3},
    {'D', 15, 2, 4, channel4},    {'E', 0, 2, 4, trigger},      {'A', 0, 2, 5, channel1},
    {'A', 1, 2, 5, channel2},     {'A', 2, 2, 5, channel3},     {'A', 3, 2, 5, channel4},
    {'H', 10, 2, 5, channel1},    {'H', 11, 2, 5, channel2},    {'H', 12, 2, 5, channel3},
    {'I', 0, 2, 5, channel4},

    {'C', 6, 3, 8, channel1},     {'C', 7, 3, 8, channel2},     {'C', 8, 3, 8, channel3},
    {'C', 9, 3, 8, channel4},     {'A', 5, 3, 8, complement1},  {'A', 7, 3, 8, complement1},
    {'B', 0, 3, 8, complement2},  {'B', 14, 3, 8, complement2}, {'B', 1, 3, 8, complement3},
    {'B', 15, 3, 8, complement3}, {'A', 6, 3, 8, stop},         {'A', 0, 3, 8, trigger},
    {'I', 5, 3, 8, channel1},     {'I', 6, 3, 8, channel2},     {'I', 7, 3, 8, channel3},
    {'I', 2, 3, 8, channel4},     {'H', 13, 3, 8, complement1}, {'H', 14, 3, 8, complement2},
    {'H', 15, 3, 8, complement3}, {'I', 4, 3, 8, stop},         {'I', 3, 3, 8, trigger},

    {'A', 2, 3, 9, channel1},     {'A', 3, 3, 9, channel2},     {'E', 5, 3, 9, channel1},
    {'E', 6, 3, 9, channel2},     {'B', 8, 3, 10, channel1},    {'F', 6, 3, 10, channel1},
    {'B', 9, 3, 11, channel1},    {'F', 7, 3, 11, channel1},    {'B', 14, 9, 12, channel1},
    {'B', 15, 9, 12, channel2},   {'H', 6, 9, 12, channel1},    {'H', 9, 9, 12, channel2},
    {'A', 6, 9, 13, channel1},    {'F', 8, 9, 13, channel1},    {'A', 7, 9, 14, channel1},
    {'F', 9, 9, 14, channel1},
};

// External lines 15 and 11 (code 15) start nothing here.
constexpr ConverterTrigger injected[] = {
    {0, 1, 4}, {1, 1, 0}, {2, 2, 1},  {3, 2, 0},  {4, 3, 2},  {5, 3, 4},  {6, 4, 1}, {7, 4, 2},
    {8, 4, 3}, {9, 4, 0}, {10, 5, 4}, {11, 5, 0}, {12, 8, 2}, {13, 8, 3}, {14, 8, 4}};
constexpr ConverterTrigger regular[] = {{0, 1, 1},  {1, 1, 2},  {2, 1, 3},  {3, 2, 2},  {4, 2, 3},
                                        {5, 2, 4},  {6, 2, 0},  {7, 3, 1},  {8, 3, 0},  {9, 4, 4},
                                        {10, 5, 1}, {11, 5, 2}, {12, 5, 3}, {13, 8, 1}, {14, 8, 0}};

constexpr ConverterInput inputs[] = {
    {7, 0, 'A', 0},  {7, 1, 'A', 1},  {7, 2, 'A', 2},  {7, 3, 'A', 3},  {3, 4, 'A', 4},
    {3, 5, 'A', 5},  {3, 6, 'A', 6},  {3, 7, 'A', 7},  {3, 8, 'B', 0},  {3, 9, 'B', 1},
    {7, 10, 'C', 0}, {7, 11, 'C', 1}, {7, 12, 'C', 2}, {7, 13, 'C', 3}, {3, 14, 'C', 4},
    {3, 15, 'C', 5}, {4, 4, 'F', 6},  {4, 5, 'F', 7},  {4, 6, 'F', 8},  {4, 7, 'F', 9},
    {4, 8, 'F', 10}, {4, 9, 'F', 3},  {4, 14, 'F', 4}, {4, 15, 'F', 5},
};

constexpr auto up = TimerRequest::update;
constexpr auto c1 = TimerRequest::channel1, c2 = TimerRequest::channel2,
               c3 = TimerRequest::channel3, c4 = TimerRequest::channel4, com = TimerRequest::com,
               trg = TimerRequest::trigger;
// The tables of DMA requests; controller 0 is DMA1.
constexpr RequestWire requests[] = {
    {1, 0, 0, 0, up, 0},  {1, 4, 0, 0, up, 0},  {1, 2, 1, 0, up, 1},  {1, 3, 1, 0, up, 1},
    {1, 0, 2, 0, up, 2},  {1, 1, 2, 0, up, 2},

    {1, 0, 6, 1, trg, 0}, {1, 1, 6, 1, c1, 0},  {1, 2, 6, 1, c2, 0},  {1, 3, 6, 1, c1, 0},
    {1, 4, 6, 1, c4, 0},  {1, 4, 6, 1, trg, 0}, {1, 4, 6, 1, com, 0}, {1, 5, 6, 1, up, 0},
    {1, 6, 6, 1, c3, 0},  {1, 6, 0, 1, c1, 0},  {1, 6, 0, 1, c2, 0},  {1, 6, 0, 1, c3, 0},
    {1, 1, 7, 8, up, 0},  {1, 2, 7, 8, c1, 0},  {1, 3, 7, 8, c2, 0},  {1, 4, 7, 8, c3, 0},
    {1, 7, 7, 8, c4, 0},  {1, 7, 7, 8, trg, 0}, {1, 7, 7, 8, com, 0}, {1, 2, 0, 8, c1, 0},
    {1, 2, 0, 8, c2, 0},  {1, 2, 0, 8, c3, 0},

    {0, 1, 3, 2, up, 0},  {0, 1, 3, 2, c3, 0},  {0, 5, 3, 2, c1, 0},  {0, 6, 3, 2, c2, 0},
    {0, 6, 3, 2, c4, 0},  {0, 7, 3, 2, up, 0},  {0, 7, 3, 2, c4, 0},  {0, 2, 5, 3, c4, 0},
    {0, 2, 5, 3, up, 0},  {0, 4, 5, 3, c1, 0},  {0, 4, 5, 3, trg, 0}, {0, 5, 5, 3, c2, 0},
    {0, 7, 5, 3, c3, 0},  {0, 0, 2, 4, c1, 0},  {0, 3, 2, 4, c2, 0},  {0, 6, 2, 4, up, 0},
    {0, 7, 2, 4, c3, 0},  {0, 0, 6, 5, c3, 0},  {0, 0, 6, 5, up, 0},  {0, 1, 6, 5, c4, 0},
    {0, 1, 6, 5, trg, 0}, {0, 2, 6, 5, c1, 0},  {0, 3, 6, 5, c4, 0},  {0, 3, 6, 5, trg, 0},
    {0, 4, 6, 5, c2, 0},  {0, 6, 6, 5, up, 0},  {0, 1, 7, 6, up, 0},  {0, 2, 1, 7, up, 0},
    {0, 4, 1, 7, up, 0},
};

}  // namespace

const MotorPart stm32f405_motor{
    .timers = timers,
    .wires = wires,
    .converters = 0x40012000,
    .converters_vector = 18,
    .injected = injected,
    .regular = regular,
    .inputs = inputs,
    .dma = {0x40026000, 0x40026400},
    .dma_vectors = {{{11, 12, 13, 14, 15, 16, 17, 47}, {56, 57, 58, 59, 60, 68, 69, 70}}},
    .requests = requests,
};

}  // namespace stillrotor::io::cortexm
