"""Exports of a river survey boat in KBL and VEC, written here: a small one by hand, large ones by a generator."""

from __future__ import annotations

from collections.abc import Sequence

XSI = 'xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance"'
KBL_NAMESPACE = "http://www.prostep.org/Car_electric_container/KBL2.3/KBLSchema"
VEC_NAMESPACE = "http://www.prostep.org/ecad-if/2011/vec"

# What both sketches say, as a harness file. Segment G1: area 12.566 mm2, so 4.0 mm: only told, not taken.
SKETCH = """
[harness]
name = "Survey boat"
part_number = "RSB-210"
revision = "C"

[[connector]]
id = "P1"
description = "Hub"
cavities = 3
[[connector]]
id = "J4"
description = "Sounder"
cavities = 3
[[connector]]
id = "S1"
kind = "splice"
SPLICE

[[cable]]
id = "K1"
od_mm = 4.1

[[circuit]]
id = "101"
from = "P1:1"
to = "J4:2"
size = "0.5 mm2"
od_mm = 1.6
colour = "RD/WH"
signal = "DEPTH RX"
length_mm = 850
[[circuit]]
id = "201"
from = "P1:2"
to = "SPLICED"
size = "0.35 mm2"
colour = "YE"
signal = "0 V"
length_mm = 600
cable = "K1"

[[branch]]
id = "G1"
circuits = ["101", "201"]
length_mm = 500
[[branch.end]]
at = "P1"
text = "P1"
[[branch]]
id = "G2"
circuits = ["101"]
length_mm = 350
[[branch.end]]
at = "J4"
text = "J4"
"""


def number(tag: str, value: float | str, unit: str = "mm") -> str:
    """Return a KBL value."""
    return f"<{tag}><Unit_component>{unit}</Unit_component><Value_component>{value}</Value_component></{tag}>"


def kbl_sketch(version: str = "2.4 SR-1", more: str = "", harness_more: str = "") -> str:
    """Return the sketch as KBL; ``more`` goes into the root, ``harness_more`` into the harness."""

    def connector(key: str, name: str, about: str, cavities: int, usage: str = "") -> str:
        seats = "".join(f'<Cavities id="{key}c{n}"><Part>hc{n}</Part></Cavities>' for n in range(1, cavities + 1))
        points = "".join(
            f'<Contact_points id="{key}p{n}"><Id>{n}</Id><Contacted_cavity>{key}c{n}</Contacted_cavity></Contact_points>'
            for n in range(1, cavities + 1)
        )
        kind = f"<Usage>{usage}</Usage>" if usage else ""
        return (
            f'<Connector_occurrence id="{key}"><Id>{name}</Id><Alias_id id="{key}a"><Alias_id>A-{name}</Alias_id></Alias_id>'
            f'<Description>{about}</Description>{kind}<Part>h</Part>{points}<Slots id="{key}s">{seats}</Slots>'
            "</Connector_occurrence>"
        )

    def connection(key: str, signal: str, wire: str, start: str, finish: str) -> str:
        return (
            f'<Connection id="{key}"><Id>{key}</Id><Signal_name>{signal}</Signal_name><Wire>{wire}</Wire>'
            f'<Extremities id="{key}e"><Position_on_wire>1</Position_on_wire><Contact_point>{finish}</Contact_point>'
            f'</Extremities><Extremities id="{key}f"><Position_on_wire>0</Position_on_wire>'
            f"<Contact_point>{start}</Contact_point></Extremities></Connection>"
        )

    def length(kind: str, mm: float) -> str:
        return f"<Length_information><Length_type>{kind}</Length_type>{number('Length_value', mm)}</Length_information>"

    seats = "".join(f'<Cavities id="hc{n}"><Cavity_number>{n}</Cavity_number></Cavities>' for n in (1, 2, 3))
    red = "<Cover_colour><Colour_type>Kennfarbe</Colour_type><Colour_value>WH</Colour_value></Cover_colour>"
    red += "<Cover_colour><Colour_type>Grundfarbe</Colour_type><Colour_value>RD</Colour_value></Cover_colour>"
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<kbl:KBL_container xmlns:kbl="{KBL_NAMESPACE}" {XSI} id="root" version_id="{version}">
<Connector_housing id="h"><Slots id="hs">{seats}</Slots></Connector_housing>
<General_wire id="gw">{number("Cross_section_area", 0.5, "mm2")}{number("Outside_diameter", 0.16, "cm")}{red}</General_wire>
<General_wire id="gk">{number("Outside_diameter", 4.1)}<Core id="core1"><Id>1</Id>
{number("Cross_section_area", 0.35, "mm2")}{number("Outside_diameter", 0)}
<Core_colour><Colour_type>Base Color</Colour_type><Colour_value>YE</Colour_value></Core_colour></Core>
<Core id="core2"><Id>2</Id></Core></General_wire>
<Harness id="har"><Part_number>RSB-210</Part_number><Version>C</Version><Abbreviation>/NULL</Abbreviation>
<Description>Survey boat</Description>
{connection("c1", "DEPTH RX", "w1", "p1p1", "j4p2")}{connection("c2", "0 V", "k1a", "p1p2", "s1p1")}
{connector("p1", "P1", "Hub", 3)}{connector("j4", "J4", "Sounder", 3)}{connector("s1", "S1", "", 1, "splice")}
<General_wire_occurrence id="w1" xsi:type="kbl:Wire_occurrence"><Part>gw</Part>{length("DMU", 843.2)}
{length("Production", 850)}{length("supplement", 20)}<Wire_number>101</Wire_number></General_wire_occurrence>
<General_wire_occurrence id="k1" xsi:type="kbl:Special_wire_occurrence"><Part>gk</Part>
<Special_wire_id>K1</Special_wire_id>
<Core_occurrence id="k1a"><Wire_number>201</Wire_number><Part>core1</Part>{length("DMU", 600)}</Core_occurrence>
<Core_occurrence id="k1b"><Wire_number>202</Wire_number><Part>core2</Part></Core_occurrence></General_wire_occurrence>
<Wire_protection_occurrence id="t1"><Id>T1</Id><Part>tube</Part></Wire_protection_occurrence>{harness_more}</Harness>
<Node id="n1"><Id>N1</Id><Referenced_components>p1</Referenced_components></Node>
<Node id="n2"><Id>N2</Id><Referenced_components>s1</Referenced_components></Node>
<Node id="n3"><Id>N3</Id><Referenced_components>j4</Referenced_components></Node>
<Routing id="r1"><Routed_wire>c1</Routed_wire><Segments>g2 g1</Segments></Routing>
<Routing id="r2"><Routed_wire>c2</Routed_wire><Segments>g1</Segments></Routing>
<Segment id="g1"><Id>G1</Id>{number("Physical_length", 500)}<End_node>n2</End_node><Start_node>n1</Start_node>
<Cross_section_area_information><Value_determination>reserved</Value_determination>{number("Area", 12.566, "mm2")}
</Cross_section_area_information><Protection_area id="pa"><Start_location>0.5</Start_location>
<End_location>1</End_location><Associated_protection>t1</Associated_protection></Protection_area></Segment>
<Segment id="g2"><Id>G2</Id>{number("Physical_length", 350)}<End_node>n2</End_node><Start_node>n3</Start_node></Segment>
<Unit id="mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>
<Unit id="cm"><Si_unit_name>metre</Si_unit_name><Si_prefix>centi</Si_prefix></Unit>
<Unit id="mm2"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix><Si_dimension>square</Si_dimension></Unit>
<Wire_protection id="tube"><Protection_type>tube</Protection_type></Wire_protection>{more}
</kbl:KBL_container>"""


def value(tag: str, amount: float, unit: str = "mm") -> str:
    """Return a VEC value."""
    return f"<{tag}><UnitComponent>{unit}</UnitComponent><ValueComponent>{amount}</ValueComponent></{tag}>"


def spec(key: str, kind: str, body: str = "") -> str:
    """Return a VEC specification."""
    return (
        f'<Specification id="{key}" xsi:type="vec:{kind}"><Identification>{key}</Identification>{body}</Specification>'
    )


def vec_sketch(version: str = "2.1.0", more: str = "") -> str:
    """Return the sketch as VEC, cables flat before 1.2 and nested from there; ``more`` goes into the harness document."""
    flat = version.startswith("1.1")

    def connector(key: str, name: str, about: str) -> str:
        seats = "".join(
            f'<CavityReference id="{key}c{n}"><Identification>x{n}</Identification><ReferencedCavity>cv{n}</ReferencedCavity>'
            "</CavityReference>"
            for n in (1, 2, 3)
        )
        return (
            f'<Component id="{key}"><Identification>{name}</Identification><AliasId><IdentificationValue>A-{name}'
            f"</IdentificationValue></AliasId><Description><LanguageCode>De</LanguageCode><Value>-</Value></Description>"
            f"<Description><LanguageCode>En</LanguageCode><Value>{about}</Value></Description>"
            f'<Role id="{key}r" xsi:type="vec:ConnectorHousingRole"><SlotReference id="{key}s">'
            f"<ReferencedSlot>slot</ReferencedSlot>{seats}</SlotReference></Role>"
            f'<Role id="{key}p" xsi:type="vec:PlaceableElementRole"/></Component>'
        )

    def contact(key: str, end: str, seat: str) -> str:
        return f'<ContactPoint id="{key}">{seat}<WireMounting><ReferencedWireEnd>{end}</ReferencedWireEnd></WireMounting></ContactPoint>'

    def seated(cavity: str) -> str:
        return f"<CavityMounting><EquippedCavityRef>{cavity}</EquippedCavityRef></CavityMounting>"

    def ends(key: str) -> str:
        return "".join(
            f'<WireEnd id="{key}{n}"><PositionOnWire>{position}</PositionOnWire></WireEnd>'
            for n, position in ((1, 1), (0, 0))
        )

    def length(mm: float) -> str:
        return f"<WireLength><LengthType>Production</LengthType>{value('LengthValue', mm)}</WireLength>"

    def placed(role: str, node: str) -> str:
        location = f'<Location xsi:type="vec:NodeLocation"><ReferencedNode>{node}</ReferencedNode></Location>'
        return f"<Placement><PlacedElement>{role}</PlacedElement>{location}</Placement>"

    def element(key: str, of: str, inner: str = "") -> str:
        tag = "SubWireElement" if key != "eR" and not flat and key.startswith("eK") else "WireElement"
        body = f'<{tag} id="{key}"><WireElementSpecification>{of}</WireElementSpecification>'
        return f"{body}{inner}</{tag}>"

    cores = element("eK1", "sK1") + element("eK2", "sK2")
    cable = element("eR", "sR") + cores if flat else element("eR", "sR", cores)
    colour = "<BaseColor><Key>{}</Key></BaseColor>"
    wire_spec = "<WireElementSpecification>{}</WireElementSpecification>"
    parts = "<ConductorSpecification>{}</ConductorSpecification><InsulationSpecification>{}</InsulationSpecification>"
    master = (
        spec(
            "housing",
            "ConnectorHousingSpecification",
            '<Slot id="slot">'
            + "".join(f'<Cavity id="cv{n}"><CavityNumber>{n}</CavityNumber></Cavity>' for n in (1, 2, 3))
            + "</Slot>",
        )
        + spec("cu5", "CoreSpecification", value("CrossSectionArea", 0.5, "mm2"))
        + spec("cu3", "CoreSpecification", value("CrossSectionArea", 0.35, "mm2"))
        + spec(
            "inR",
            "InsulationSpecification",
            colour.format("RD") + "<FirstIdentificationColor><Key>WH</Key></FirstIdentificationColor>",
        )
        + spec("inY", "InsulationSpecification", colour.format("YE"))
        + spec("sW", "WireElementSpecification", value("OutsideDiameter", 0.16, "cm") + parts.format("cu5", "inR"))
        + spec("sK1", "WireElementSpecification", parts.format("cu3", "inY"))
        + spec("sK2", "WireElementSpecification")
        + spec(
            "sR",
            "WireElementSpecification",
            value("OutsideDiameter", 4.1) + "<SubWireElementSpecification>sK1 sK2</SubWireElementSpecification>",
        )
        + spec("wW", "WireSpecification", wire_spec.format("sW") + element("eW", "sW"))
        + spec("wK", "WireSpecification", wire_spec.format("sR") + cable)
    )
    label = "<LabelValue>101 DEPTH</LabelValue><LabelType>AlphaNumerical</LabelType>" if version >= "2" else ""
    wires = (
        '<Component id="w1"><Identification>101</Identification><Role id="w1r" xsi:type="vec:WireRole">'
        f'<WireSpecification>wW</WireSpecification><WireElementReference id="x1"><Identification>101</Identification>{label}'
        f"<ReferencedWireElement>eW</ReferencedWireElement><Signal>sg1</Signal>{ends('x1e')}{length(850)}"
        '</WireElementReference></Role></Component><Component id="k1"><Identification>K1</Identification>'
        '<Role id="k1r" xsi:type="vec:WireRole"><Identification>K1</Identification><WireSpecification>wK</WireSpecification>'
        '<WireElementReference id="xR"><Identification>K1</Identification><ReferencedWireElement>eR</ReferencedWireElement>'
        '</WireElementReference><WireElementReference id="x2"><Identification>201</Identification>'
        f"<ReferencedWireElement>eK1</ReferencedWireElement><Signal>sg2</Signal>{ends('x2e')}{length(600)}"
        '</WireElementReference><WireElementReference id="x3"><Identification>202</Identification>'
        "<Unconnected>true</Unconnected><ReferencedWireElement>eK2</ReferencedWireElement></WireElementReference></Role></Component>"
    )
    splice = '<Component id="s1"><Identification>S1</Identification><Role id="s1t" xsi:type="vec:SpliceTerminalRole"/><Role id="s1p" xsi:type="vec:PlaceableElementRole"/></Component>'

    def segment(key: str, name: str, start: str, end: str, mm: float) -> str:
        adapted = (
            f"<LengthInformation>{value('Length', mm + 1)}<Classification>Designed</Classification></LengthInformation>"
        )
        adapted += (
            f"<LengthInformation>{value('Length', mm)}<Classification>Adapted</Classification></LengthInformation>"
        )
        return f'<TopologySegment id="{key}"><Identification>{name}</Identification><EndNode>{end}</EndNode><StartNode>{start}</StartNode>{adapted}</TopologySegment>'

    harness = (
        spec("signals", "SignalSpecification", '<Signal id="sg1"><SignalName>DEPTH RX</SignalName></Signal><Signal id="sg2"><SignalName>0 V</SignalName></Signal>')
        + spec("topology", "TopologySpecification", "".join(f'<TopologyNode id="n{n}"/>' for n in (1, 2, 3)) + segment("g1", "G1", "n1", "n2", 500) + segment("g2", "G2", "n3", "n2", 350))
        + spec("places", "PlacementSpecification", placed("p1p", "n1") + placed("j4p", "n3") + placed("s1p", "n2"))
        + spec("routes", "RoutingSpecification", '<Routing id="r1"><RoutedElement>x1</RoutedElement><Path><Segment>g1 g2</Segment></Path></Routing><Routing id="r2"><RoutedElement>x2</RoutedElement><Path><Segment>g1</Segment></Path></Routing>')
        + spec("contacts", "ContactingSpecification", contact("cp1", "x1e0", seated("p1c1")) + contact("cp2", "x1e1", seated("j4c2")) + contact("cp3", "x2e0", seated("p1c2")) + contact("cp4", "x2e1", "<MountedTerminal>s1t</MountedTerminal>"))
        + spec("parts", "CompositionSpecification", connector("p1", "P1", "Hub") + connector("j4", "J4", "Sounder") + splice + wires)
        + more
    )  # fmt: skip
    return f"""<?xml version="1.0" encoding="UTF-8"?>
<v:VecContent xmlns:v="{VEC_NAMESPACE}" {XSI} xmlns:vec="{VEC_NAMESPACE}" id="root"><VecVersion>{version}</VecVersion>
<DocumentVersion id="d1"><DocumentType>PartMaster</DocumentType>{master}</DocumentVersion>
<DocumentVersion id="d2"><DocumentNumber>D-1</DocumentNumber><DocumentType>harnessDescription</DocumentType>
<ReferencedPart>pv</ReferencedPart>{harness}</DocumentVersion>
<PartVersion id="pv"><PartNumber>RSB-210</PartNumber><PartVersion>C</PartVersion><Description>
<LanguageCode>En</LanguageCode><Value>Survey boat</Value></Description></PartVersion>
<Unit id="mm" xsi:type="vec:SIUnit"><SiUnitName>Metre</SiUnitName><SiPrefix>Milli</SiPrefix></Unit>
<Unit id="cm" xsi:type="vec:SIUnit"><SiUnitName>Metre</SiUnitName><SiPrefix>Centi</SiPrefix></Unit>
<Unit id="mm2" xsi:type="vec:SIUnit"><Exponent>2</Exponent><SiUnitName>Metre</SiUnitName><SiPrefix>Milli</SiPrefix></Unit>
</v:VecContent>"""


def kbl_large(wires: int = 184, points: int = 100) -> str:
    """Return a KBL of that many wires in a trunk with as many segments less one; ``points`` are curves that no one reads."""
    connectors, connections, occurrences, nodes, segments, routings, curves = ([] for _ in range(7))
    for n in range(1, wires + 1):
        connectors.append(
            f'<Connector_occurrence id="x{n}"><Id>J{n}</Id><Part>h</Part><Contact_points id="x{n}p"><Id>1</Id>'
            f'<Contacted_cavity>x{n}c</Contacted_cavity></Contact_points><Slots id="x{n}s"><Cavities id="x{n}c">'
            "<Part>hc</Part></Cavities></Slots></Connector_occurrence>"
        )
        nodes.append(f'<Node id="n{n}"><Id>N{n}</Id><Referenced_components>x{n}</Referenced_components></Node>')
        far = n % wires + 1
        connections.append(
            f'<Connection id="c{n}"><Signal_name>S{n}</Signal_name><Wire>w{n}</Wire><Extremities><Position_on_wire>0'
            f"</Position_on_wire><Contact_point>x{n}p</Contact_point></Extremities><Extremities><Position_on_wire>1"
            f"</Position_on_wire><Contact_point>x{far}p</Contact_point></Extremities></Connection>"
        )
        occurrences.append(
            f'<General_wire_occurrence id="w{n}" xsi:type="kbl:Wire_occurrence"><Part>gw</Part>'
            f"<Wire_number>{n}</Wire_number></General_wire_occurrence>"
        )
        run: Sequence[int] = range(n, far) if far > n else range(wires - 1, 0, -1)
        routings.append(
            f'<Routing id="r{n}"><Routed_wire>c{n}</Routed_wire><Segments>{" ".join(f"g{i}" for i in run)}</Segments></Routing>'
        )
        if n < wires:
            segments.append(
                f'<Segment id="g{n}"><Id>G{n}</Id>{number("Physical_length", 100)}<End_node>n{n + 1}</End_node>'
                f"<Start_node>n{n}</Start_node></Segment>"
            )
        curves += [
            f'<Cartesian_point id="q{n}-{i}"><Coordinates>{n}.0</Coordinates><Coordinates>{i}.5</Coordinates></Cartesian_point>'
            for i in range(points)
        ]
    return f"""<kbl:KBL_container xmlns:kbl="{KBL_NAMESPACE}" {XSI} id="root" version_id="2.5 SR-1">{"".join(curves)}
<Connector_housing id="h"><Slots id="hs"><Cavities id="hc"><Cavity_number>1</Cavity_number></Cavities></Slots></Connector_housing>
<General_wire id="gw">{number("Cross_section_area", 0.5, "mm2")}{number("Outside_diameter", 1.6)}</General_wire>
<Harness id="har"><Part_number>RSB-900</Part_number><Version>A</Version><Description>Fleet</Description>{"".join(connections)}
{"".join(connectors)}{"".join(occurrences)}</Harness>{"".join(nodes)}{"".join(routings)}{"".join(segments)}
<Unit id="mm"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix></Unit>
<Unit id="mm2"><Si_unit_name>metre</Si_unit_name><Si_prefix>milli</Si_prefix><Si_dimension>square</Si_dimension></Unit>
</kbl:KBL_container>"""
