"""Imports and exports: one router."""

from fastapi import APIRouter

from service.transfer.exports.routes import router as exports
from service.transfer.imports.routes import router as imports

router = APIRouter()
router.include_router(imports)
router.include_router(exports)
