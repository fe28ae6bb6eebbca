"""Single sign-on by OpenID Connect: to the company's provider and back."""

from __future__ import annotations

from typing import Any

import jwt
import requests
from allauth.socialaccount.adapter import get_adapter
from allauth.socialaccount.models import SocialApp, SocialToken
from allauth.socialaccount.providers.oauth2.client import OAuth2Error
from allauth.socialaccount.providers.oauth2.views import OAuth2CallbackView, OAuth2LoginView
from allauth.socialaccount.providers.openid_connect.views import OpenIDConnectOAuth2Adapter
from django.http import Http404, HttpRequest, HttpResponseBase
from django.shortcuts import render

Answer = HttpResponseBase
#: Signatures that only the provider's private key can make.
ALGORITHMS = ["RS256", "RS384", "RS512", "PS256", "PS384", "PS512", "ES256", "ES384", "ES512", "EdDSA"]


class CheckedOpenID(OpenIDConnectOAuth2Adapter):
    """The library's client, stricter in two things: the ID token's signature is always looked at, and what the
    provider says about the person must be about the one in that token (OpenID Connect Core 1.0, 5.3.2)."""

    def _decode_id_token(self, app: SocialApp, id_token: str) -> dict[str, Any]:
        with get_adapter().get_requests_session() as session:
            answer = session.get(self.openid_config["jwks_uri"])
            answer.raise_for_status()
        try:
            return jwt.decode(
                id_token,
                key=_key_of(id_token, answer.json()),
                algorithms=ALGORITHMS,
                issuer=self.openid_config["issuer"],
                audience=app.client_id,
                leeway=30,
                options={"require": ["iss", "aud", "sub", "exp", "iat"]},
            )
        except (jwt.PyJWTError, KeyError, ValueError) as error:
            raise OAuth2Error(f"the ID token does not hold: {error}") from error

    def complete_login(self, request: HttpRequest, app: SocialApp, token: SocialToken, **kwargs: Any) -> Any:
        if not kwargs["response"].get("id_token"):
            raise OAuth2Error("no ID token")
        found = super().complete_login(request, app, token, **kwargs)
        told = found.account.extra_data
        if told["userinfo"].get("sub") != told["id_token"]["sub"]:
            raise OAuth2Error("what was told is about somebody else than the ID token")
        return found


def _key_of(id_token: str, keys: dict[str, Any]) -> Any:
    """The provider's key that the token names; a provider with one key need not name it (OpenID Connect Core, 10.1)."""
    known = jwt.PyJWKSet.from_dict(keys).keys
    name = jwt.get_unverified_header(id_token).get("kid")
    fitting = [key for key in known if key.key_id == name] if name else known
    if len(fitting) != 1:
        raise OAuth2Error("the ID token names none of the provider's keys")
    return fitting[0]


def login(request: HttpRequest, provider_id: str) -> Answer:
    """To the provider; only by POST, so that no other page sends anybody there."""
    return _through(request, provider_id, OAuth2LoginView)


def callback(request: HttpRequest, provider_id: str) -> Answer:
    """Back from the provider."""
    return _through(request, provider_id, OAuth2CallbackView)


def _through(request: HttpRequest, provider_id: str, view: Any) -> Answer:
    try:
        return view.adapter_view(CheckedOpenID(request, provider_id))(request)
    except SocialApp.DoesNotExist as error:
        raise Http404("There is no such sign-in.") from error
    except requests.RequestException:
        return render(request, "socialaccount/authentication_error.html", status=502)
