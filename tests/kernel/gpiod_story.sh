# The test program of io/gpiod, alone with the chip.
/program --gtest_color=no
