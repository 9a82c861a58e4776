# Firmware for AVRs at 16 MHz, cross-compiled with avr-gcc.
#
# stillrotor_firmware(NAME source... [MCU part] [HEX] [OPTIONS option...])
#   C or assembler sources, relative to the caller, become ${CMAKE_BINARY_DIR}/firmware/NAME.elf,
#   part of the target `firmware` and so of `all`. For an ATmega328P
#   unless MCU names another. HEX: NAME.hex beside it, as objcopy writes it.
#   Without avr-gcc nothing is built; AVR_GCC is false.
include_guard(GLOBAL)
find_program(AVR_GCC avr-gcc)
find_program(AVR_OBJCOPY avr-objcopy)
if(AVR_GCC)
  message(STATUS "Firmware: built with ${AVR_GCC}")
else()
  message(STATUS "Firmware: not built (avr-gcc not found; install gcc-avr and avr-libc); "
                 "what needs it is skipped or refused")
endif()
add_custom_target(firmware ALL)
file(MAKE_DIRECTORY ${CMAKE_BINARY_DIR}/firmware)

function(stillrotor_firmware name)
  cmake_parse_arguments(FW "HEX" "MCU" "OPTIONS" ${ARGN})
  if(NOT AVR_GCC)
    return()
  endif()
  if(NOT FW_MCU)
    set(FW_MCU atmega328p)
  endif()
  list(TRANSFORM FW_UNPARSED_ARGUMENTS PREPEND ${CMAKE_CURRENT_SOURCE_DIR}/ OUTPUT_VARIABLE sources)
  file(GLOB headers CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.h)
  set(elf ${CMAKE_BINARY_DIR}/firmware/${name}.elf)
  add_custom_command(OUTPUT ${elf}
    COMMAND ${AVR_GCC} -mmcu=${FW_MCU} -DF_CPU=16000000UL -std=gnu11 -Os -gdwarf-2 -Wall -Wextra -Werror
            ${FW_OPTIONS} -o ${elf} ${sources}
    DEPENDS ${sources} ${headers}
    COMMENT "Building firmware/${name}.elf" VERBATIM)
  set(files ${elf})
  if(FW_HEX)
    set(hex ${CMAKE_BINARY_DIR}/firmware/${name}.hex)
    add_custom_command(OUTPUT ${hex} COMMAND ${AVR_OBJCOPY} -O ihex ${elf} ${hex} DEPENDS ${elf}
      VERBATIM)
    list(APPEND files ${hex})
  endif()
  add_custom_target(firmware_${name} DEPENDS ${files})
  add_dependencies(firmware firmware_${name})
endfunction()

# stillrotor_host_firmware(NAME source... [OPTIONS option...])
#   C or C++ sources become ${CMAKE_BINARY_DIR}/firmware/NAME.so, firmware for the backend hostfw, part
#   of `firmware` and so of `all`. Never instrumented: it is the device under test.
function(stillrotor_host_firmware name)
  cmake_parse_arguments(FW "" "" "OPTIONS" ${ARGN})
  add_library(firmware_${name} MODULE ${FW_UNPARSED_ARGUMENTS})
  set_target_properties(firmware_${name} PROPERTIES
    PREFIX "" OUTPUT_NAME ${name} LIBRARY_OUTPUT_DIRECTORY ${CMAKE_BINARY_DIR}/firmware)
  target_include_directories(firmware_${name} PRIVATE ${PROJECT_SOURCE_DIR}
    ${PROJECT_SOURCE_DIR}/io/hostfw)
  target_compile_options(firmware_${name} PRIVATE
    -O2 -g1 -Wall -Wextra -Werror -ffp-contract=off -fvisibility=hidden -fno-sanitize=all
    $<$<COMPILE_LANGUAGE:CXX>:-fno-gnu-unique> ${FW_OPTIONS})
  target_link_options(firmware_${name} PRIVATE -fno-sanitize=all)
  add_dependencies(firmware firmware_${name})
endfunction()
