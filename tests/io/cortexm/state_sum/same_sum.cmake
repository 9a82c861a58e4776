# Two builds of one program must print the same: cmake -DONE=... -DOTHER=... -DELF=... -DMILLISECONDS=...
# [-DOTHER_SO=interpreted] -P same_sum.cmake
foreach(which ONE OTHER)
  execute_process(COMMAND ${${which}} ${ELF} ${MILLISECONDS} ${${which}_SO} OUTPUT_VARIABLE ${which}_said
                  RESULT_VARIABLE status)
  if(NOT status EQUAL 0)
    message(FATAL_ERROR "${${which}} ended with ${status}: ${${which}_said}")
  endif()
endforeach()
if(NOT ONE_said STREQUAL OTHER_said)
  message(FATAL_ERROR "They differ:\n${ONE_said}${OTHER_said}")
endif()
message(STATUS "Both: ${ONE_said}")
