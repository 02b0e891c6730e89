# What `cmake --install` puts where, and the .deb that CPack makes of it.
#
# Programs, manual pages and completion; the C library with its header and pkg-config file; the C++ interface with the layers that it
# is made of, as static libraries. find_package(calseal) gives calseal::c, the C library, and calseal::calseal, the C++ interface.
include(CMakePackageConfigHelpers)

install(TARGETS calseal calseal-check RUNTIME DESTINATION ${CMAKE_INSTALL_BINDIR})

# The C library.
set_target_properties(calseal_c PROPERTIES EXPORT_NAME c)
install(TARGETS calseal_c EXPORT calseal LIBRARY DESTINATION ${CMAKE_INSTALL_LIBDIR})
configure_file(packaging/calseal.pc.in calseal.pc @ONLY)
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/calseal.pc DESTINATION ${CMAKE_INSTALL_LIBDIR}/pkgconfig)

# The C++ interface: a few headers, and the static libraries that it needs; an export that lacks one does not configure.
set(layers calseal_base calseal_digest calseal_image calseal_map calseal_bundle calseal_trust calseal_change calseal_option calseal_check
  calseal_sign calseal_report_verdict calseal_api)
foreach(layer ${layers})
  string(REGEX REPLACE "^calseal_" "" name ${layer})
  set_target_properties(${layer} PROPERTIES EXPORT_NAME ${name} OUTPUT_NAME ${layer})
endforeach()
set_target_properties(calseal_api PROPERTIES EXPORT_NAME calseal)
install(TARGETS ${layers} calseal_options calseal_crypto calseal_zlib calseal_deflate EXPORT calseal
  ARCHIVE DESTINATION ${CMAKE_INSTALL_LIBDIR}/calseal)
foreach(header api/calseal.h api/check.h api/correct.h api/region_map.h api/seal.h api/verdict.h digest/crc.h digest/sha256.h
    base/bytes.h base/reason.h base/reasons.inc base/result.h capi/calseal.h)
  get_filename_component(folder ${header} DIRECTORY)
  install(FILES calseal/${header} DESTINATION ${CMAKE_INSTALL_INCLUDEDIR}/calseal/${folder})
endforeach()
install(EXPORT calseal NAMESPACE calseal:: FILE calseal-targets.cmake DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/calseal)
configure_package_config_file(packaging/calseal-config.cmake.in ${CMAKE_CURRENT_BINARY_DIR}/calseal-config.cmake
  INSTALL_DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/calseal)
write_basic_package_version_file(${CMAKE_CURRENT_BINARY_DIR}/calseal-config-version.cmake COMPATIBILITY SameMinorVersion)
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/calseal-config.cmake ${CMAKE_CURRENT_BINARY_DIR}/calseal-config-version.cmake
  DESTINATION ${CMAKE_INSTALL_LIBDIR}/cmake/calseal)

# Manual pages and completion, written by the program itself.
set(manual ${CMAKE_CURRENT_BINARY_DIR}/manual)
add_custom_command(OUTPUT ${manual}/calseal.1.gz ${manual}/calseal.bash ${manual}/calseal.zsh ${manual}/calseal.fish
  COMMAND ${CMAKE_COMMAND} -E rm -rf ${manual}
  COMMAND ${CMAKE_COMMAND} -E make_directory ${manual}
  COMMAND calseal manual -o ${manual}
  COMMAND calseal completion bash > ${manual}/calseal.bash
  COMMAND calseal completion zsh > ${manual}/calseal.zsh
  COMMAND calseal completion fish > ${manual}/calseal.fish
  COMMAND find ${manual} -name "*.1" -exec gzip -9n {} +
  DEPENDS calseal COMMENT "Writing manual pages and completion" VERBATIM)
add_custom_target(calseal_manual ALL DEPENDS ${manual}/calseal.1.gz)
if(NOT CMAKE_CROSSCOMPILING)
  install(DIRECTORY ${manual}/ DESTINATION ${CMAKE_INSTALL_MANDIR}/man1 FILES_MATCHING PATTERN "*.1.gz")
  install(FILES ${manual}/calseal.bash DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/bash-completion/completions RENAME calseal)
  install(FILES ${manual}/calseal.zsh DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/zsh/vendor-completions RENAME _calseal)
  install(FILES ${manual}/calseal.fish DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/fish/vendor_completions.d)
endif()

# Documents, and the demo's data with them: docs refer to it.
install(DIRECTORY ${PROJECT_SOURCE_DIR}/docs/ DESTINATION ${CMAKE_INSTALL_DOCDIR}/docs)
install(FILES ${PROJECT_SOURCE_DIR}/README.md DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(FILES packaging/copyright DESTINATION ${CMAKE_INSTALL_DOCDIR})
file(READ packaging/changelog changelog_text)
file(WRITE ${CMAKE_CURRENT_BINARY_DIR}/changelog "${changelog_text}")
execute_process(COMMAND gzip -9nkf ${CMAKE_CURRENT_BINARY_DIR}/changelog)
install(FILES ${CMAKE_CURRENT_BINARY_DIR}/changelog.gz DESTINATION ${CMAKE_INSTALL_DOCDIR})
install(FILES packaging/lintian-overrides DESTINATION ${CMAKE_INSTALL_DATAROOTDIR}/lintian/overrides RENAME calseal)

set(CPACK_GENERATOR DEB)
set(CPACK_PACKAGE_NAME calseal)
set(CPACK_PACKAGE_VENDOR calseal)
set(CPACK_PACKAGE_CONTACT "calseal developers <calseal@example.org>")
set(CPACK_PACKAGE_DESCRIPTION_SUMMARY "integrity and revision packager for controller images")
set(CPACK_PACKAGE_DESCRIPTION "calseal judges the file that was read from a vehicle's controller, proves
byte by byte that a revision changes only what the controller's region map
declares editable, corrects the checksums inside, and seals the
revision as a signed bundle. On the other side calseal-check refuses what
is damaged, forged, stale or meant for another vehicle.
.
It never writes to a controller and edits no calibration values.")
set(CPACK_PACKAGING_INSTALL_PREFIX /usr)
set(CPACK_STRIP_FILES ON)
set(CPACK_DEBIAN_FILE_NAME DEB-DEFAULT)
set(CPACK_DEBIAN_PACKAGE_SECTION utils)
set(CPACK_DEBIAN_PACKAGE_PRIORITY optional)
set(CPACK_DEBIAN_PACKAGE_SHLIBDEPS ON)
set(CPACK_DEBIAN_PACKAGE_CONTROL_EXTRA "${CMAKE_CURRENT_SOURCE_DIR}/packaging/triggers;${CMAKE_CURRENT_SOURCE_DIR}/packaging/shlibs")
set(CPACK_DEBIAN_PACKAGE_HOMEPAGE "https://example.org/calseal")
include(CPack)
