<%
def own(lines):
    """What was generated, without the generator's own remarks."""
    return "\n".join(line for line in lines.splitlines() if "# ###" not in line).strip() or "pass"
%>\
"""${message}

Revision: ${up_revision}
Before it: ${down_revision | comma,n}
"""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op
from sqlalchemy.dialects import postgresql${"\n" + imports if imports else ""}

revision = ${repr(up_revision)}
down_revision = ${repr(down_revision)}
branch_labels = ${repr(branch_labels)}
depends_on = ${repr(depends_on)}

IDENTIFIER = sa.LargeBinary(16).with_variant(postgresql.UUID(), "postgresql")


def upgrade() -> None:
    ${own(upgrades)}


def downgrade() -> None:
    ${own(downgrades)}
