"""Pages outside any project, and what each answers; read by tests/test_access.py."""

from __future__ import annotations

from typing import Any

from commissioning.phone_formulas import script

#: Pages outside any project: (asked for, sent empty) by somebody signed in, and by nobody signed in.
OPEN, MINE, TWICE = ((302, 302), (200, 200)), ((200, 200), (302, 302)), ((302, 302), (302, 302))
OUTSIDE: dict[str, tuple[tuple[int, int], tuple[int, int]]] = {
    "home": TWICE,
    "account_login": OPEN,
    "sign-in": OPEN,
    "account_logout": ((405, 302), (405, 302)),
    "sign-out": ((405, 302), (405, 302)),
    "account_inactive": ((200, 405), (200, 405)),
    "project-new": ((403, 403), (302, 302)),
    "operator": ((403, 405), (302, 405)),
    "operator-job-again": ((405, 403), (405, 302)),
    "operator-job-stop": ((405, 403), (405, 302)),
    "dossier-check": ((200, 422), (302, 302)),
    "dossier-check-number": ((200, 422), (302, 302)),
    # the phone's app holds nothing of anybody; the session says who reads it
    "phone-start": ((200, 405), (200, 405)),
    "phone-session": ((200, 405), (401, 405)),
    "phone-file": ((404, 405), (404, 405)),
    "phone-worker": ((200, 405), (200, 405)),
    "phone-manifest": ((200, 405), (200, 405)),
    "label": ((404, 405), (302, 405)),
    "phone-formulas": ((200, 405), (200, 405)),  # formulas of the catalogue, no project's data
    # signing in: steps that nobody has begun lead back to the first
    "account_request_login_code": OPEN,
    "account_confirm_login_code": TWICE,
    "mfa_authenticate": TWICE,
    "mfa_login_webauthn": TWICE,
    "openid_connect_login": ((404, 404), (404, 404)),  # not set up here
    "openid_connect_callback": ((404, 404), (404, 404)),
    "socialaccount_login_error": ((401, 405), (401, 405)),
    "socialaccount_login_cancelled": ((200, 405), (200, 405)),
    # the password
    "password-change": MINE,
    "account_reset_password": ((200, 200), (200, 200)),
    "account_reset_password_done": ((200, 405), (200, 405)),
    "account_reset_password_from_key": ((200, 200), (200, 200)),  # a link that does not hold
    "account_reset_password_from_key_done": ((200, 405), (200, 405)),
    # one's own account; ways in are changed after saying again who it is
    "account": MINE,
    "account_reauthenticate": MINE,
    "mfa_reauthenticate": TWICE,
    "mfa_reauthenticate_webauthn": TWICE,
    "socialaccount_connections": MINE,
    "usersessions_list": ((200, 302), (302, 302)),
    "tokens": MINE,
    "token-new": TWICE,
    "token-take-back": ((405, 404), (405, 302)),
    "mfa_index": ((200, 405), (302, 302)),
    "mfa_activate_totp": TWICE,
    "mfa_deactivate_totp": ((404, 404), (302, 302)),
    "mfa_list_webauthn": ((200, 405), (302, 302)),
    "mfa_add_webauthn": TWICE,
    "mfa_edit_webauthn": TWICE,
    "mfa_remove_webauthn": TWICE,
    "mfa_view_recovery_codes": ((404, 405), (302, 302)),
    "mfa_generate_recovery_codes": TWICE,
    "mfa_download_recovery_codes": ((404, 404), (302, 302)),
    # a link in a mail by which a witness answers: one that does not hold
    "witness-answer": ((410, 410), (410, 410)),
    # a link in a mail that switches mails like it off: one that does not hold
    "mails-off": ((410, 410), (410, 410)),
    # invitations: without a link that holds there is nothing
    "invitation": ((410, 410), (410, 410)),
    "invitation-open": ((410, 410), (410, 410)),
}
NOBODYS = "00000000-0000-0000-0000-000000000000"
OUTSIDE_ARGS: dict[str, list[Any]] = {
    "dossier-check-number": ["OMB-D-0001", 1],
    "phone-file": ["another-version", "phone/shell.js"],
    "label": ["0" * 26],
    "operator-job-again": [NOBODYS],
    "operator-job-stop": [NOBODYS],
    "phone-formulas": [script().digest],
    "openid_connect_login": ["company"],
    "openid_connect_callback": ["company"],
    "account_reset_password_from_key": ["1", "no-such-key"],
    "token-take-back": ["ct_no_such"],
    "mfa_edit_webauthn": [1],
    "mfa_remove_webauthn": [1],
    "mails-off": ["no-such-token"],
    "witness-answer": ["no-such-token"],
    "invitation-open": ["01890a5d-ac96-774b-bcce-b302099a8057", "no-such-key"],
}
