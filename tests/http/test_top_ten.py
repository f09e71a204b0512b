"""OWASP API Security Top 10 (2023) and ASVS 5.0, item by item: which test holds the service to it.

Item names from the published list, owasp.org/API-Security/editions/2023; chapter names of ASVS 5.0.0 likewise.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]
SERVICE = TESTS.parent / "service"
REACHING_OUT = {"httpx", "http.client", "urllib.request", "requests", "ftplib", "smtplib", "socket", "aiohttp"}
ON_THE_MACHINE = {"cli/demo.py", "cli/serving.py"}  # the command line: its own page in process, and its own socket

TOP_TEN: dict[str, tuple[str, ...]] = {
    "API1:2023 Broken Object Level Authorization": (
        "http/test_matrix.py::test_operation",
        "http/test_pages_matrix.py::test_a_page_of_a_site_is_for_its_people",
        "http/test_paging.py::test_a_cursor_opens_no_other_site",
    ),
    "API2:2023 Broken Authentication": (
        "access/test_tokens.py::test_only_the_hash_is_stored",
        "access/test_tokens.py::test_a_token_ends_at_its_time_to_the_microsecond",
        "access/test_tokens.py::test_revocation_holds_from_the_next_request",
        "access/test_tokens.py::test_an_unknown_token_opens_nothing",
        "access/test_sessions.py::test_of_twenty_who_use_a_link_at_once_one_is_signed_in",
        "access/test_sessions.py::test_a_change_with_a_cookie_comes_from_our_own_page",
        "access/test_people.py::test_nobody_is_signed_in_by_somebody_who_may_do_less",
        "access/test_passwords.py::test_a_name_tried_too_often_waits_right_password_or_not",
        "access/test_passwords.py::test_a_crowd_at_once_is_counted_one_by_one",
        "access/test_passwords.py::test_an_unknown_name_takes_the_same_way_and_the_same_words",
        "access/test_passwords.py::test_the_present_password_cannot_be_guessed_from_a_session",
        "access/test_devices.py::test_five_wrong_pins_lock_it_on_this_device_until_the_password_comes",
    ),
    "API3:2023 Broken Object Property Level Authorization": (
        "access/test_people.py::test_what_the_service_decides_cannot_be_sent",
        "access/test_tokens.py::test_a_secret_is_shown_once",
        "http/test_bad_input.py::test_a_field_that_is_wrong_is_named",
    ),
    "API4:2023 Unrestricted Resource Consumption": (
        "http/test_gate.py::test_an_announced_body_beyond_the_limit_is_refused_unread",
        "http/test_gate.py::test_a_body_in_chunks_is_counted",
        "http/test_bad_input.py::test_a_parameter_that_is_wrong_is_named",
        "http/test_bad_input.py::test_a_long_value_is_echoed_short",
        "transfer/imports/test_files.py::test_a_workbook_that_would_do_harm_is_refused",
        "transfer/imports/test_files.py::test_a_workbook_is_refused_by_its_sizes",
        "transfer/imports/test_imports.py::test_more_rows_than_one_request_takes",
        "transfer/exports/test_exports.py::test_a_bomb_is_refused",
        "resources/records/test_photos.py::test_a_picture_beyond_the_limit_is_refused_before_it_is_read",
        "resources/records/test_photos.py::test_the_pictures_of_a_site_have_a_limit",
        "resources/records/test_pictures.py::test_a_bomb_is_refused_before_a_pixel_is_decoded",
        "resources/records/test_pictures.py::test_few_are_decoded_at_once",
    ),
    "API5:2023 Broken Function Level Authorization": (
        "http/test_matrix.py::test_every_operation_has_a_row",
        "http/test_matrix.py::test_operation",
        "access/test_tokens.py::test_nobody_makes_more_than_they_hold",
        "access/test_people.py::test_nobody_gives_a_role_they_could_not_hold",
    ),
    "API6:2023 Unrestricted Access to Sensitive Business Flows": (
        "resources/records/test_readings.py::test_a_correction_is_a_new_version_and_the_old_one_stays_visible",
        "http/test_conditional.py::test_of_many_who_change_the_same_version_one_does",
    ),
    "API7:2023 Server Side Request Forgery": ("http/test_top_ten.py::test_nothing_that_serves_fetches_an_address",),
    "API8:2023 Security Misconfiguration": (
        "http/test_gate.py::test_every_answer_carries_the_headers_that_protect_a_browser",
        "http/test_gate.py::test_a_failure_tells_nothing_of_the_inside",
        "http/test_pages_matrix.py::test_no_page_runs_or_carries_anything_inline",
        "cli/test_serving.py::test_beyond_this_machine_tls_or_a_stated_risk_is_needed",
    ),
    "API9:2023 Improper Inventory Management": (
        "http/test_matrix.py::test_every_operation_has_a_row",
        "http/test_pages_matrix.py::test_every_page_is_known_here",
    ),
    "API10:2023 Unsafe Consumption of APIs": (
        "http/test_bad_input.py::test_only_a_number_is_a_number",
        "http/test_bad_input.py::test_a_body_that_is_no_object_is_refused",
    ),
}

ASVS: dict[str, tuple[str, ...]] = {
    "V1 Encoding and Sanitization": (
        "web/test_report_page.py::test_a_name_of_markup_stays_text_everywhere",
        "http/test_bad_input.py::test_a_tank_may_have_any_other_name",
        "http/test_tables.py::test_what_a_spreadsheet_would_run_is_text",
        "transfer/exports/test_exports.py::test_text_comes_back_as_it_was",
    ),
    "V2 Validation and Business Logic": (
        "http/test_bad_input.py::test_a_field_that_is_wrong_is_named",
        "http/test_bad_input.py::test_control_characters_and_half_characters_are_refused",
        "http/test_bad_input.py::test_deep_nesting_inside_a_field_is_refused",
    ),
    "V3 Web Frontend Security": (
        "access/test_sessions.py::test_the_cookie_is_out_of_reach_of_scripts_and_other_sites",
        "access/test_sessions.py::test_over_tls_the_cookie_is_bound_to_the_host",
        "http/test_gate.py::test_every_answer_carries_the_headers_that_protect_a_browser",
        "http/test_gate.py::test_browsers_that_came_over_tls_are_held_to_it",
    ),
    "V4 API and Web Service": (
        "http/test_gate.py::test_a_method_that_is_not_taken_is_answered_with_all_that_are",
        "http/test_bad_input.py::test_another_kind_of_body_is_refused",
    ),
    "V5 File Handling": (
        "transfer/imports/test_files.py::test_a_workbook_that_would_do_harm_is_refused",
        "transfer/imports/test_files.py::test_a_spoilt_file_is_read_or_refused_and_nothing_else",
        "transfer/exports/test_exports.py::test_a_damaged_or_edited_archive_is_refused_whole",
        "transfer/exports/test_exports.py::test_no_archive_reaches_another_site",
        "resources/records/test_pictures.py::test_neither_place_nor_device_is_kept",
        "resources/records/test_pictures.py::test_what_is_no_picture_is_refused",
        "resources/records/test_pictures.py::test_what_is_appended_is_gone",
        "resources/records/test_pictures.py::test_a_spoilt_picture_is_kept_clean_or_refused_and_nothing_else",
        "resources/records/test_photos.py::test_a_picture_is_served_so_that_it_can_do_nothing",
    ),
    "V6 Authentication": (
        "access/test_sessions.py::test_a_link_signs_in_once",
        "access/test_sessions.py::test_a_link_ends_within_the_hour",
        "access/test_sessions.py::test_nobody_can_be_signed_in_by_another_sites_form",
        "access/test_passwords.py::test_a_password_too_short_or_among_the_commonest_is_refused",
        "access/test_passwords.py::test_nothing_is_asked_of_a_password_but_length",
        "access/test_passwords.py::test_a_restart_forgives_nothing",
        "access/test_passwords.py::test_a_link_signs_in_whoever_has_to_wait",
        "access/test_passwords.py::test_a_changed_password_needs_the_present_one_and_ends_all_other_sessions",
        "access/test_passwords.py::test_the_form_of_another_sites_page_signs_nobody_in",
        "access/test_devices.py::test_a_device_that_guesses_at_many_waits",
    ),
    "V7 Session Management": (
        "access/test_sessions.py::test_every_sign_in_gives_another_secret",
        "access/test_sessions.py::test_signing_out_ends_this_session_alone",
        "access/test_sessions.py::test_a_session_ends_after_its_time",
        "access/test_passwords.py::test_signing_in_anew_ends_the_session_the_browser_had",
        "access/test_passwords.py::test_own_sessions_are_listed_and_ended_and_nobody_elses",
        "access/test_passwords.py::test_an_idle_session_ends_and_a_used_one_goes_on_to_its_time",
        "access/test_devices.py::test_whoever_is_picked_is_signed_out_when_idle",
        "access/test_devices.py::test_a_closed_device_opens_nothing",
        "access/test_people.py::test_signing_out_everywhere_ends_sessions_and_open_links",
    ),
    "V8 Authorization": (
        "http/test_matrix.py::test_operation",
        "access/test_people.py::test_a_role_taken_away_is_gone_from_open_sessions",
        "access/test_tokens.py::test_a_cut_token_makes_no_wider_one",
        "access/test_devices.py::test_a_pin_records_and_corrects_own_records_and_nothing_more",
        "access/test_devices.py::test_an_administrator_of_the_installation_is_a_keeper_of_the_devices_site_alone",
    ),
    "V11 Cryptography": (
        "access/test_tokens.py::test_only_the_hash_is_stored",
        "access/test_passwords.py::test_the_hash_is_argon2id_with_the_parameters_of_the_settings",
        "access/test_passwords.py::test_a_hash_of_other_parameters_is_made_anew",
    ),
    "V12 Secure Communication": (
        "cli/test_serving.py::test_what_a_trusted_proxy_says_of_tls_is_believed_and_nobody_elses_word",
    ),
    "V13 Configuration": ("cli/test_commands.py::test_settings_that_cannot_be_read_are_named",),
    "V14 Data Protection": ("access/test_people.py::test_a_pseudonym_replaces_a_name_for_good",),
    "V16 Security Logging and Error Handling": (
        "access/test_tokens.py::test_making_and_revoking_stand_in_the_chain_of_the_site",
        "access/test_people.py::test_every_change_of_access_stands_in_the_trail",
        "access/test_passwords.py::test_everything_stands_in_the_trail_and_no_secret_anywhere",
        "cli/test_commands.py::test_check_finds_an_edited_entry",
        "http/test_gate.py::test_a_failure_tells_nothing_of_the_inside",
    ),
}


def test_the_list_is_whole() -> None:
    assert [item.partition(":")[0] for item in TOP_TEN] == [f"API{number}" for number in range(1, 11)]


@pytest.mark.parametrize(("item", "tests"), [*TOP_TEN.items(), *ASVS.items()])
def test_every_item_has_its_tests(item: str, tests: tuple[str, ...]) -> None:
    assert tests, item
    for named in tests:
        path, _, function = named.partition("::")
        tree = ast.parse((TESTS / path).read_text(encoding="utf-8"))
        assert function in {node.name for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}, named


def test_nothing_that_serves_fetches_an_address() -> None:
    """No address that somebody sends is ever opened. A sender of webhooks belongs here once it has its guard."""
    found = {
        path.relative_to(SERVICE).as_posix()
        for path in SERVICE.rglob("*.py")
        if REACHING_OUT & imported(ast.parse(path.read_text(encoding="utf-8")))
    }
    assert found == ON_THE_MACHINE


def imported(tree: ast.Module) -> set[str]:
    """The modules that a module imports."""
    names: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        if isinstance(node, ast.ImportFrom) and node.module:
            names |= {node.module, *(f"{node.module}.{alias.name}" for alias in node.names)}
    return names
