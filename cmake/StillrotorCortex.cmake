# Code for Cortex-M chips, cross-compiled with arm-none-eabi-gcc.
#
# stillrotor_cortex_firmware(NAME source... SCRIPT file [OPTIONS option...])
#   C or assembler sources, relative to the caller, linked by the script, become
#   ${CMAKE_BINARY_DIR}/firmware/NAME.elf for a Cortex-M4F, part of the target `firmware`.
#
# stillrotor_cortex_library(NAME CPU source...)
#   C sources become ${CMAKE_BINARY_DIR}/firmware/NAME.a, part of the target `firmware` and so of
#   `all`. Without the compiler nothing is built; CORTEX_GCC is false.
include_guard(GLOBAL)
find_program(CORTEX_GCC arm-none-eabi-gcc)
find_program(CORTEX_AR arm-none-eabi-gcc-ar)
# Seen by every folder that includes this, not by the first one alone.
set(CORTEX_FLAGS -mthumb -std=c11 -ffreestanding -Wall -Wextra -Wshadow -Wconversion
    -Wno-sign-conversion -Wdouble-promotion -Werror CACHE INTERNAL "")
if(CORTEX_GCC)
  message(STATUS "Co-processor: built with ${CORTEX_GCC}")
else()
  message(STATUS "Co-processor: not built for its chips (arm-none-eabi-gcc not found; install "
                 "gcc-arm-none-eabi); its core is tested here all the same")
endif()

function(stillrotor_cortex_library name cpu)
  if(NOT CORTEX_GCC)
    return()
  endif()
  file(GLOB headers CONFIGURE_DEPENDS ${CMAKE_CURRENT_SOURCE_DIR}/*.h)
  set(objects)
  foreach(source IN LISTS ARGN)
    get_filename_component(base ${source} NAME_WE)
    set(object ${CMAKE_CURRENT_BINARY_DIR}/${name}/${base}.o)
    file(MAKE_DIRECTORY ${CMAKE_CURRENT_BINARY_DIR}/${name})
    add_custom_command(OUTPUT ${object}
      COMMAND ${CORTEX_GCC} -mcpu=${cpu} ${CORTEX_FLAGS} -O3 -I${PROJECT_SOURCE_DIR} -c
              -o ${object} ${source}
      DEPENDS ${source} ${headers} VERBATIM)
    list(APPEND objects ${object})
  endforeach()
  set(library ${CMAKE_BINARY_DIR}/firmware/${name}.a)
  add_custom_command(OUTPUT ${library}
    COMMAND ${CMAKE_COMMAND} -E rm -f ${library}
    COMMAND ${CORTEX_AR} rcs ${library} ${objects}
    DEPENDS ${objects} COMMENT "Building firmware/${name}.a" VERBATIM)
  add_custom_target(firmware_${name} ALL DEPENDS ${library})
endfunction()

function(stillrotor_cortex_firmware name)
  cmake_parse_arguments(FW "" "SCRIPT" "OPTIONS" ${ARGN})
  if(NOT CORTEX_GCC)
    return()
  endif()
  list(TRANSFORM FW_UNPARSED_ARGUMENTS PREPEND ${CMAKE_CURRENT_SOURCE_DIR}/ OUTPUT_VARIABLE sources)
  set(headers)
  foreach(source IN LISTS sources)
    get_filename_component(folder ${source} DIRECTORY)
    file(GLOB beside CONFIGURE_DEPENDS ${folder}/*.h)
    list(APPEND headers ${beside})
  endforeach()
  set(script ${CMAKE_CURRENT_SOURCE_DIR}/${FW_SCRIPT})
  set(elf ${CMAKE_BINARY_DIR}/firmware/${name}.elf)
  file(MAKE_DIRECTORY ${CMAKE_BINARY_DIR}/firmware)
  add_custom_command(OUTPUT ${elf}
    COMMAND ${CORTEX_GCC} -mcpu=cortex-m4 -mfpu=fpv4-sp-d16 -mfloat-abi=hard ${CORTEX_FLAGS} -O2 -g
            ${FW_OPTIONS} -nostdlib -fno-tree-loop-distribute-patterns -T ${script} -o ${elf} ${sources} -lgcc
    DEPENDS ${sources} ${headers} ${script}
    COMMENT "Building firmware/${name}.elf" VERBATIM)
  add_custom_target(firmware_${name} DEPENDS ${elf})
  add_dependencies(firmware firmware_${name})
endfunction()
