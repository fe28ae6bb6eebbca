"""What every answer tells a browser about itself: where things may come from, who may frame it, what it may use.

deploy.headers sends them. Nothing inline is let through, and nothing from elsewhere.
"""

from urllib.parse import urlparse

from deploy.environment import items, text


def _origin(address: str) -> str:
    parts = urlparse(address)
    return f"{parts.scheme}://{parts.netloc}" if parts.netloc else ""


#: A browser follows a form to where its answer leads, so the company's sign-in stands beside the product itself.
FORMS_LEAD_TO = [one for one in (_origin(text("TRACKER_OIDC_URL")), *items("TRACKER_OIDC_PAGES")) if one]

#: Pages and scripts: a worker keeps to the policy that its script came with. A photo just taken is shown from memory.
POLICY_OF_PAGES = "; ".join(
    (
        "default-src 'none'",
        "script-src 'self'",
        "style-src 'self'",
        "img-src 'self' blob:",
        "font-src 'self'",
        "connect-src 'self'",
        "manifest-src 'self'",
        "worker-src 'self'",
        " ".join(("form-action 'self'", *FORMS_LEAD_TO)),
        "frame-ancestors 'none'",
        "base-uri 'none'",
    )
)
#: Data, files and pictures: nothing in them is loaded, run, sent or framed.
POLICY_OF_FILES = "default-src 'none'; form-action 'none'; frame-ancestors 'none'; base-uri 'none'"
#: What people uploaded: the same, and an origin of nobody.
POLICY_OF_UPLOADS = f"{POLICY_OF_FILES}; sandbox"

#: Photos are taken and label codes are read with the camera, passkeys are made and used; nothing else of the device.
PERMISSIONS = ", ".join(
    (
        "camera=(self)",
        "publickey-credentials-create=(self)",
        "publickey-credentials-get=(self)",
        *(
            f"{feature}=()"
            for feature in (
                "accelerometer",
                "autoplay",
                "bluetooth",
                "display-capture",
                "geolocation",
                "gyroscope",
                "hid",
                "magnetometer",
                "microphone",
                "midi",
                "payment",
                "serial",
                "usb",
                "xr-spatial-tracking",
            )
        ),
    )
)
