"""/v1/devices"""

# No postponed annotations here: the routes are made inside a function that brings what they need.

from typing import Annotated, Any

from fastapi import APIRouter, Path, Request, Response

from service.access import devices
from service.access.rights import Right
from service.errors import NotFound, TooLarge
from service.http.caller import DoorOf
from service.http.cookies import give_device, take_back
from service.http.problems import may_refuse
from service.http.shapes import Id
from service.resources.people.devices.models import DeviceRead, DeviceSent
from service.resources.people.sites import SiteNamed, existing

DeviceId = Annotated[Id, Path(description="The device's id.")]


def device_routes(site_named: SiteNamed) -> APIRouter:
    """The routes of shared devices; `site_named` resolves a site within a scope."""
    router = APIRouter(prefix="/devices", tags=["sessions"])

    @router.post("", status_code=201, response_model=DeviceRead, responses=may_refuse(NotFound, TooLarge))
    def open_device(sent: DeviceSent, door: DoorOf, request: Request, response: Response) -> Any:
        """Make this browser a shared device of a site. Your own session on it ends."""
        settings, scheme = request.app.state.settings, request.scope["scheme"]
        with door.write(Right.DESCRIBE) as work:
            site_id = existing(work, site_named, sent.site_id, pointer="/site_id")
            assert site_id is not None
            device, secret = devices.opened(work, site_id, sent.name, settings)
            body = devices.body_of(device)
        give_device(response, secret, scheme, days=settings.device_days)
        take_back(response, scheme)
        return body

    @router.get("", response_model=list[DeviceRead])
    def list_devices(door: DoorOf) -> Any:
        """The open shared devices of the sites where you may open one."""
        with door.read(Right.DESCRIBE) as work:
            return [devices.body_of(device) for device in devices.listed(work)]

    @router.post("/{device_id}/closing", response_model=DeviceRead, responses=may_refuse(NotFound))
    def close_device(device_id: DeviceId, door: DoorOf) -> Any:
        """Close a shared device, as after a lost tablet: nobody signs in on it, and who is signed in is out."""
        with door.write(Right.DESCRIBE) as work:
            return devices.body_of(devices.closed(work, device_id))

    return router
