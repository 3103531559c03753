"""The same statements as the server sends, by FastAPI and asyncpg.

It checks no token, judges no joint and links no chain: it only reads the request, sends the
statements that the bench has seen the server send, and answers with what the last of them read.
Started by the bench with two workers; by hand:

    python3 -m venv target/fastapi && target/fastapi/bin/pip install -r tests/bench/comparison/requirements.txt
    cargo bench -p server --bench http -- --comparison target/fastapi/bin/python
"""

import json
import os
import uuid
from contextlib import asynccontextmanager
from urllib.parse import parse_qs, unquote, urlsplit

import asyncpg
from fastapi import FastAPI
from fastapi.responses import Response
from pydantic import BaseModel

CONNECTIONS_PER_WORKER = 10

with open(os.environ["PLAN"]) as file:
    PLAN = json.load(file)


class Fact(BaseModel):
    """A fact as it is sent."""

    kind: str
    occurred_at: str
    result: str
    voltage_kv: float
    detector: str
    holidays_found: int
    travel_speed_mm_s: float
    inspector: str


def place_of(url):
    """Where the database is; asyncpg overlooks a socket that is named beside a host."""
    parts = urlsplit(url)
    return {
        "user": unquote(parts.username or ""),
        "password": unquote(parts.password or ""),
        "database": parts.path.lstrip("/"),
        "host": parse_qs(parts.query).get("host", [parts.hostname])[0],
        "port": parts.port,
    }


def read_parameter(parameter, constant):
    """Makes a function from the values of a request to those of one parameter."""
    if parameter == "null":
        return lambda slots: None
    if "constant" in parameter:
        return lambda slots: constant
    if "one" in parameter:
        return lambda slots: slots[parameter["one"]]
    return lambda slots: [slots[parameter["array"]]]


async def prepare(connection, statements):
    """Reads the constants as PostgreSQL types them, once."""
    steps = []
    for statement in statements:
        sql, parameters = statement["sql"], statement["parameters"]
        if not parameters:
            steps.append((sql, None, False))
            continue
        types = (await connection.prepare(sql)).get_parameters()
        readers = []
        for parameter, kind in zip(parameters, types):
            constant = None
            if isinstance(parameter, dict) and "constant" in parameter:
                name = kind.name
                read = f"SELECT $1::text::{name}"
                constant = await connection.fetchval(read, parameter["constant"])
            readers.append(read_parameter(parameter, constant))
        locks = "FOR UPDATE" in sql and "chain_seq" in sql
        steps.append((sql, readers, locks))
    return steps


@asynccontextmanager
async def lifespan(app):
    settings = {"role": "jointward_app", "synchronous_commit": "on"}
    app.pool = await asyncpg.create_pool(
        **place_of(PLAN["database"]),
        server_settings=settings,
        min_size=CONNECTIONS_PER_WORKER,
        max_size=CONNECTIONS_PER_WORKER,
        # Whoever gives a connection back leaves no transaction open; a reset would cost a round
        # trip that the server does not pay either.
        reset=None,
    )
    async with app.pool.acquire() as connection:
        app.steps = {
            name: await prepare(connection, statements)
            for name, statements in PLAN["statements"].items()
        }
    yield
    await app.pool.close()


app = FastAPI(lifespan=lifespan)


def slots_of(number):
    return {
        "number": str(number),
        "joint": uuid.UUID(f"00000000-0000-7000-8000-{number:012}"),
        "fact": uuid.uuid4(),
        "just_before": number * 12000 - 1,
    }


async def run(steps, number):
    """Sends the statements; the rows of the last one that read any."""
    slots, rows = slots_of(number), []
    async with app.pool.acquire() as connection:
        for sql, readers, locks in steps:
            if readers is None:
                await connection.execute(sql)
                continue
            read = await connection.fetch(sql, *(reader(slots) for reader in readers))
            if locks:
                slots["seq"] = read[0]["chain_seq"] + 1
            if read:
                rows = read
    return [dict(row) for row in rows]


def answer(rows):
    return Response(json.dumps(rows, default=str), media_type="application/json")


@app.get("/livez")
async def livez():
    return "ok"


@app.post("/joints/{number}/events")
async def record(number: int, fact: Fact):
    return answer(await run(app.steps["record"], number))


@app.get("/joints/{number}")
async def read(number: int):
    return answer(await run(app.steps["read"], number))


@app.get("/joints")
async def list_joints(after: int):
    return answer(await run(app.steps["list"], after))
