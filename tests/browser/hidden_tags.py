"""Tags that a browser sees and other readers do not."""

from __future__ import annotations

# where a browser, by the HTML standard, sees a tag that others take for a part of something else; the last few are read
# otherwise with scripts than without, or by older browsers
HIDDEN = [
    "<!-- --!>TAG",
    "<!-->TAG",
    "<!--->TAG",
    "<![CDATA[>TAG",
    "<svg><style>TAG",
    "<style></style foo>TAG",
    "<title></title/>TAG",
    "<xmp></xmp >TAG",
    "<noembed></noembed a='>'>TAG",
    "<textarea></textarea\tx>TAG",
    "<?x>TAG",
    "</ x>TAG",
    "<a b=`'>TAG",
    "<a/='>TAG",
    "<script><!--<script></script>--></script>TAG",
    "<table><tr><td><select>TAG",
    "<select><div>TAG",
    "<math><annotation-xml encoding=text/html>TAG",
    "<math><mtext><table><mglyph><style><!--</style>TAG-->",
    "<form><math><mtext></form><form><mglyph><style></math>TAG",
    "</body></html>TAG",
    "<noscript><p title='</noscript>TAG'>",
    "<noscript><!--</noscript>TAG-->",
    "<div><template shadowrootmode=open>TAG</template></div>",
    "<select><style></select>TAG</style>",
]
